"""The audit for people: what is broken first, what could not be checked next, then a count of what is met."""

import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from pattress.model.finding import Finding, Outcome
from pattress.model.rules import Override
from pattress.report.changes import Changes
from pattress.report.places import by_room, gravest_first, rules_of
from pattress.report.visible import visible

Show = Callable[[Sequence[Finding]], Iterator[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above the findings. `run` is 0 where the audit could not be kept and so has no number."""

    site: str
    run: int
    started_at: datetime
    duration_s: float
    policy: str
    policy_digest: str
    points: int
    devices: int
    overridden: Sequence[Override] = ()

    @property
    def name(self) -> str:
        """The audit in a few words."""
        return f"audit {self.run}" if self.run else "audit that is not kept"


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

    def wrapped(self, text: str, *, indent: int = 0, hanging: int | None = None) -> list[str]:
        """Return text made safe to show, in lines within the width: the first indented, the others `hanging`."""
        return textwrap.wrap(
            visible(text),
            self.width,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent if hanging is None else hanging),
            break_on_hyphens=False,
        )


def counted(number: int, noun: str) -> str:
    """Return a number of things in words."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def audit_text(heading: Heading, findings: Sequence[Finding], style: Style) -> str:
    """Return the report of an audit."""
    lines = [*_head(heading, style), *findings_lines(findings, style), *_overridden_lines(heading.overridden, style)]
    return "\n".join(lines) + "\n"


def findings_lines(findings: Sequence[Finding], style: Style) -> list[str]:
    """Return findings as lines: what is broken, what to do, what could not be checked, what is accepted, a count."""
    lines: list[str] = []
    broken = [finding for finding in findings if finding.outcome == "broken"]
    unverified = [finding for finding in findings if finding.outcome == "unverified"]
    waived = [finding for finding in findings if finding.outcome == "waived"]
    met = sum(finding.outcome == "met" for finding in findings)
    if broken:
        lines += ["", style.strong(f"BROKEN: {len(broken)}", "broken"), *_by_place(broken, _each, style)]
        lines += ["", style.strong("Why, and what to do"), *advice_lines(broken, style)]
    if unverified:
        title = f"COULD NOT BE CHECKED: {len(unverified)}"
        lines += ["", style.strong(title, "unverified"), *_by_place(unverified, _by_reason, style)]
    if waived:
        lines += ["", style.strong(f"ACCEPTED: {len(waived)}", "waived"), *_by_place(waived, _each, style)]
    return [*lines, "", style.strong(f"MET: {met} of {len(findings)} checks", "met" if met == len(findings) else None)]


def changes_text(heading: Heading, changes: Changes, findings: Sequence[Finding], since: str, style: Style) -> str:
    """Return only what has changed, as `audit_text` would say it."""
    lines = [*_head(heading, style), "", style.strong(f"NEW SINCE {since}: {len(changes.new)}", "broken")]
    lines += _by_place(changes.new, _each, style)
    lines += ["", style.strong(f"OVER: {len(changes.over)}", "met")]
    for (place, rule, setting, _), outcome in changes.over:
        lines.append(visible(f"  {place}: {rule}{f', {setting}' if setting else ''} was {outcome}"))
    lines += ["", f"UNCHANGED: {changes.unchanged} not met. {summary_line(findings)}."]
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


def _head(heading: Heading, style: Style) -> list[str]:
    return [
        style.strong(f"{visible(heading.site)}: {heading.name} of {heading.started_at:%Y-%m-%d %H:%M}"),
        f"policy {heading.policy} ({heading.policy_digest[:8]}), {counted(heading.points, 'point')}, "
        f"{counted(heading.devices, 'device')} seen, {heading.duration_s:.1f} s",
    ]


def override_words(override: Override) -> str:
    """Return what a file changed of a rule that it includes."""
    done = "dropped" if override.dropped is not None else f"{', '.join(override.fields)} changed"
    reason = f": {override.reason}" if override.reason else ""
    return f"{override.rule}: {done} by {override.file}{reason}"


def _overridden_lines(overridden: Sequence[Override], style: Style) -> Iterator[str]:
    """Say which rules do not hold as they were written."""
    if not overridden:
        return
    yield ""
    yield style.strong(f"OVERRIDDEN: {counted(len(overridden), 'rule')} of the policy")
    for one in overridden:
        yield from style.wrapped(override_words(one), indent=2, hanging=4)


def _by_place(findings: Iterable[Finding], show: Show, style: Style) -> Iterator[str]:
    """Group by room, then by point or device."""
    for room in by_room(findings):
        yield f"  {visible(room.name)}"
        for place in room.places:
            yield f"    {visible(place.subject.title)}"
            for text in show(place.findings):
                yield from style.wrapped(text, indent=6, hanging=8)
        if room.left_out:
            yield f"    and {room.left_out} more, all of them in the report as JSON"


def _each(findings: Sequence[Finding]) -> Iterator[str]:
    for finding in sorted(findings, key=gravest_first):
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


def advice_lines(findings: Iterable[Finding], style: Style) -> Iterator[str]:
    """Yield, for each rule of these findings, why it is there and what to do, the gravest first."""
    for rule in rules_of(findings):
        cites = f" [{'; '.join(rule.cites)}]" if rule.cites else ""
        yield f"  {rule.id} ({rule.severity})"
        for text in (rule.because + cites, f"To do: {rule.fix}"):
            yield from style.wrapped(text, indent=4)
