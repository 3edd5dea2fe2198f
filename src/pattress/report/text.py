"""The audit for people: what is broken first, what could not be checked next, then a count of what is met."""

import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from pattress.model.finding import Finding, Outcome
from pattress.model.rules import SEVERITIES
from pattress.report.visible import visible

SITE_ITSELF = "The site itself"
NO_ROOM = "In no plan"
MAX_PLACES = 100  # in one room; more is a flood of announcements, which must not bury the rest

Show = Callable[[Sequence[Finding]], Iterator[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above the findings."""

    site: str
    run: int
    started_at: datetime
    duration_s: float
    policy: str
    policy_digest: str
    points: int
    devices: int


@dataclass(frozen=True, slots=True)
class Style:
    """How to show it: the width in columns, and whether colour may be used."""

    width: int = 100
    has_colour: bool = False

    def strong(self, text: str, outcome: Outcome | None = None) -> str:
        """Return a heading, in the colour of an outcome where colour may be used."""
        if not self.has_colour:
            return text
        code = {"broken": "1;31", "unverified": "1;35", "waived": "1;36", "met": "1;32", None: "1"}[outcome]
        return f"\x1b[{code}m{text}\x1b[0m"


def audit_text(heading: Heading, findings: Sequence[Finding], style: Style) -> str:
    """Return the report of an audit."""
    lines = [
        style.strong(f"{visible(heading.site)}: audit {heading.run} of {heading.started_at:%Y-%m-%d %H:%M}"),
        f"policy {heading.policy} ({heading.policy_digest[:8]}), {_count(heading.points, 'point')}, "
        f"{_count(heading.devices, 'device')} seen, {heading.duration_s:.1f} s",
    ]
    broken = [finding for finding in findings if finding.outcome == "broken"]
    unverified = [finding for finding in findings if finding.outcome == "unverified"]
    waived = [finding for finding in findings if finding.outcome == "waived"]
    met = sum(finding.outcome == "met" for finding in findings)
    if broken:
        lines += ["", style.strong(f"BROKEN: {len(broken)}", "broken"), *_by_place(broken, _each, style)]
        lines += ["", style.strong("Why, and what to do"), *_advice(broken, style)]
    if unverified:
        title = f"COULD NOT BE CHECKED: {len(unverified)}"
        lines += ["", style.strong(title, "unverified"), *_by_place(unverified, _by_reason, style)]
    if waived:
        lines += ["", style.strong(f"ACCEPTED: {len(waived)}", "waived"), *_by_place(waived, _each, style)]
    lines += ["", style.strong(f"MET: {met} of {len(findings)} checks", "met" if met == len(findings) else None)]
    return "\n".join(lines) + "\n"


def summary_line(findings: Sequence[Finding]) -> str:
    """Return the audit in one line."""
    count = {
        outcome: sum(one.outcome == outcome for one in findings)
        for outcome in ("broken", "unverified", "waived", "met")
    }
    return (
        f"{count['broken']} broken, {count['unverified']} could not be checked, "
        f"{count['waived']} accepted, {count['met']} met"
    )


def _by_place(findings: Iterable[Finding], show: Show, style: Style) -> Iterator[str]:
    """Group by room, then by point or device."""
    ordered = sorted(findings, key=_place)
    for room, in_room in groupby(ordered, key=lambda finding: _room(finding)):
        yield f"  {visible(room)}"
        places = [(title, list(at_place)) for title, at_place in groupby(in_room, key=lambda one: one.subject.title)]
        for title, at_place in places[:MAX_PLACES]:
            yield f"    {visible(title)}"
            for text in show(at_place):
                yield from textwrap.wrap(
                    visible(text),
                    style.width,
                    initial_indent=" " * 6,
                    subsequent_indent=" " * 8,
                    break_on_hyphens=False,
                )
        if len(places) > MAX_PLACES:
            yield f"    and {len(places) - MAX_PLACES} more, all of them in the report as JSON"


def _each(findings: Sequence[Finding]) -> Iterator[str]:
    for finding in sorted(findings, key=_severity):
        yield f"{finding.rule.severity}: {finding.sentence}"


def _by_reason(findings: Sequence[Finding]) -> Iterator[str]:
    """Many checks that fail for one reason are one line."""
    reasons: dict[str, list[Finding]] = {}
    for finding in findings:
        reasons.setdefault(finding.reason or "no reason given", []).append(finding)
    for reason, together in reasons.items():
        names = list(dict.fromkeys(one.setting or one.rule.title for one in together))
        listed = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        yield f"{reason}: {listed}"


def _advice(findings: Iterable[Finding], style: Style) -> Iterator[str]:
    rules = {finding.rule.id: finding.rule for finding in findings}
    for rule in sorted(rules.values(), key=lambda rule: (SEVERITIES.index(rule.severity), rule.id)):
        cites = f" [{'; '.join(rule.cites)}]" if rule.cites else ""
        yield f"  {rule.id} ({rule.severity})"
        for text in (rule.because + cites, f"To do: {rule.fix}"):
            yield from textwrap.wrap(
                visible(text), style.width, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False
            )


def _place(finding: Finding) -> tuple[bool, bool, str, bool, str]:
    """Rooms of the plan first, then devices in no plan, known kinds before others, then the site itself."""
    subject = finding.subject
    return subject.room is None, subject.device is None, subject.room or "", subject.kind is None, subject.title


def _room(finding: Finding) -> str:
    return finding.subject.room or (NO_ROOM if finding.subject.device is not None else SITE_ITSELF)


def _severity(finding: Finding) -> tuple[int, str, str]:
    return SEVERITIES.index(finding.rule.severity), finding.rule.id, finding.setting or ""


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
