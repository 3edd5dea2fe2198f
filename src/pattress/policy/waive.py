"""Waivers: accepted exceptions turn a broken or unverified finding into a waived one, while they last."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from pattress.model.finding import Finding
from pattress.model.rules import Waiver


def waive(findings: Sequence[Finding], waivers: Sequence[Waiver], *, today: date) -> list[Finding]:
    """Return the findings with waivers applied. A waiver holds until the end of its last day; none makes a `met`."""
    valid = [waiver for waiver in waivers if today <= waiver.until]
    return [_waived(finding, valid) for finding in findings]


def _waived(finding: Finding, waivers: Sequence[Waiver]) -> Finding:
    if finding.outcome not in ("broken", "unverified"):
        return finding
    for waiver in waivers:
        if waiver.rule == finding.rule.id and _is_for(waiver, finding):
            return replace(finding, outcome="waived", waiver=waiver)
    return finding


def _is_for(waiver: Waiver, finding: Finding) -> bool:
    subject = finding.subject
    if waiver.point is not None:
        return waiver.point == subject.point
    return waiver.device is not None and waiver.device in (subject.device, subject.device_title)
