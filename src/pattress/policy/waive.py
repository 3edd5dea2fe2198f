"""Waivers: accepted exceptions turn a broken or unverified finding into a waived one, while they last."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from pattress.model.finding import Finding, Subject
from pattress.model.plan import Plan
from pattress.model.rules import Waiver
from pattress.policy.builtin import WAIVER_CURRENT, WAIVER_USED


def waive(findings: Sequence[Finding], waivers: Sequence[Waiver], *, today: date, plan: Plan) -> list[Finding]:
    """Return the findings with waivers applied, and one more for each waiver that has ended or accepts nothing.

    A waiver holds until the end of its last day. None makes a `met`, and none accepts a fault of a waiver.
    """
    valid = [waiver for waiver in waivers if today <= waiver.until]
    waived = [_waived(finding, valid) for finding in findings]
    used = {id(finding.waiver) for finding in waived if finding.waiver is not None}
    rooms = {point.name: point.room for point in plan.points}
    return [*waived, *_about(waivers, used, today, rooms)]


def _about(waivers: Sequence[Waiver], used: set[int], today: date, rooms: Mapping[str, str]) -> Iterator[Finding]:
    for waiver in waivers:
        place = waiver.point or waiver.device
        room = rooms.get(waiver.point) if waiver.point is not None else None
        subject = Subject(device_title=waiver.device, point=waiver.point, room=room)
        what = f"the waiver of {waiver.rule} at {place} by {waiver.who}"
        if today > waiver.until:
            remark = f"{what} ended on {waiver.until.isoformat()}"
            yield Finding(WAIVER_CURRENT, subject, None, "broken", "not ended", remark=remark)
        elif id(waiver) in used:
            yield Finding(WAIVER_USED, subject, None, "met", "needed", remark=f"{what} is needed")
        else:
            remark = f"{what} accepts nothing that was found"
            yield Finding(WAIVER_USED, subject, None, "broken", "needed", remark=remark)


def _waived(finding: Finding, waivers: Sequence[Waiver]) -> Finding:
    if finding.outcome not in ("broken", "unverified"):
        return finding
    for waiver in waivers:
        if waiver.rule == finding.rule.id and _is_for(waiver, finding):
            return finding._replace(outcome="waived", waiver=waiver)
    return finding


def _is_for(waiver: Waiver, finding: Finding) -> bool:
    subject = finding.subject
    if waiver.point is not None:
        return waiver.point == subject.point
    return waiver.device is not None and waiver.device in (subject.device, subject.device_title)
