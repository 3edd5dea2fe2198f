"""Policies for people: a rule in words, how much of a policy can be judged, and what it finds when it is tried."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pattress.model.finding import Finding
from pattress.model.rules import Override, Policy, Rule
from pattress.model.site import Networks
from pattress.model.vocabulary import generic_name
from pattress.policy.coverage import Coverage, Gap, RuleCoverage, provision_of
from pattress.policy.words import applies_words, requirement_words
from pattress.report.text import Style, counted, findings_lines
from pattress.report.visible import visible

MAX_REASONS = 2
MAX_KINDS = 2  # in one line; the document for machines names all
BUILT_IN = "holds in every audit, whatever the policy"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """The rules that are to be shown: of a policy, and of the program itself. `networks` are the site's, if any."""

    policy: Policy
    rules: tuple[Rule, ...]
    dropped: tuple[Override, ...]
    networks: Networks | None = None

    @property
    def is_whole(self) -> bool:
        """Whether it is the whole policy, not one rule of it."""
        return len(self.rules) + len(self.dropped) > 1


def policy_text(shown: Shown, style: Style) -> str:
    """Return a policy as one line for each rule, or the one rule that was asked for in full."""
    lines = list(_list(shown, style) if shown.is_whole else _one(shown, style))
    return "\n".join(lines) + "\n"


def coverage_text(site: str, coverage: Coverage, style: Style) -> str:
    """Return how much of a policy can be judged: each rule, then every gap, then provisions."""
    policy = coverage.policy
    noun = "point" if any(place.point for place in coverage.places) else "kind"
    heading = (
        f"{visible(site)}: {counted(len(policy.rules), 'rule')} of {policy.id} at {counted(len(coverage.places), noun)}"
    )
    lines = [style.strong(heading), "", *_coverage_table(coverage, noun, style)]
    gaps = [line for one in coverage.rules for line in _gap_lines(one, noun)]
    if gaps:
        lines += ["", style.strong("CANNOT BE JUDGED", "unverified")]
        lines += [wrapped for line in gaps for wrapped in style.wrapped(line, indent=2, hanging=4)]
    if coverage.unreported:
        lines += ["", style.strong("SETTINGS THAT NO KIND HERE REPORTS", "unverified")]
        for setting in coverage.unreported:
            near = f"; most like it: {', '.join(setting.nearest)}" if setting.nearest else ""
            lines += style.wrapped(f"{setting.setting} ({', '.join(setting.rules)}){near}", indent=2, hanging=4)
    idle = [one.rule.id for one in coverage.rules if one.is_idle]
    if idle:
        lines += [
            "",
            style.strong("RULES THAT APPLY TO NOTHING HERE"),
            *style.wrapped(", ".join(idle), indent=2, hanging=4),
        ]
    lines += _provision_lines(coverage, style)
    return "\n".join(lines) + "\n"


def trial_text(
    site: str, policy: Policy, findings: Sequence[Finding], read_at: Mapping[str, datetime | None], style: Style
) -> str:
    """Return what a policy finds in the last known settings."""
    moments = sorted(moment for moment in read_at.values() if moment is not None)
    never = sum(moment is None for moment in read_at.values())
    if moments:
        first, last = (f"{moment.astimezone():%Y-%m-%d %H:%M}" for moment in (moments[0], moments[-1]))
        ages = f"settings of {first}" if first == last else f"settings of {first} to {last}"
    else:
        ages = "no settings"
    unread = f", {counted(never, 'point')} never read" if never else ""
    return "\n".join([
        style.strong(f"{visible(site)}: {visible(policy.id)} tried; no device was asked"),
        f"{counted(len(policy.rules), 'rule')} ({policy.digest[:8]}), {ages}{unread}",
        *findings_lines(findings, style),
    ]) + "\n"  # fmt: skip


def _list(shown: Shown, style: Style) -> Iterator[str]:
    policy = shown.policy
    yield style.strong(visible(f"{policy.id}: {policy.title}"))
    yield visible(f"{counted(len(policy.rules), 'rule')} ({policy.digest[:8]}) of {', '.join(policy.files)}")
    yield ""
    width = max(len(rule.id) for rule in shown.rules)
    changed = {one.rule for one in policy.overridden}
    for rule in shown.rules:
        mark = "*" if rule.id in changed else " "
        built_in = "  (in every audit)" if rule.file is None else ""
        yield visible(f"{mark} {rule.id:{width}}  {rule.severity:6}  {rule.title}{built_in}")
    for one in shown.dropped:
        yield visible(f"- {one.rule:{width}}  dropped by {one.file}: {one.reason}")
    if changed:
        yield ""
        yield "* was changed and - was dropped by a file that includes it; `pattress policy show RULE` tells how."


def _one(shown: Shown, style: Style) -> Iterator[str]:
    for one in shown.dropped:
        rule = one.dropped
        if rule is not None:
            yield style.strong(visible(f"{rule.id} (dropped)"))
            yield visible(rule.title)
            yield from _labelled("Dropped", f"by {one.file}: {one.reason}", style)
            yield from _rest(rule, shown, style)
    for rule in shown.rules:
        yield style.strong(visible(f"{rule.id} ({rule.severity})"))
        yield visible(rule.title)
        yield from _rest(rule, shown, style)


def _rest(rule: Rule, shown: Shown, style: Style) -> Iterator[str]:
    if rule.file is None:
        yield from _labelled("Applies to", BUILT_IN, style)
    else:
        yield from _labelled("Applies to", applies_words(rule.applies), style)
    for requirement in rule.requirements:
        yield from _labelled("Requires", requirement_words(requirement, shown.networks), style)
    yield from _labelled("Because", rule.because, style)
    yield from _labelled("To do", rule.fix, style)
    for cite in rule.cites:
        yield from _labelled("Source", cite, style)
    if rule.file is not None:
        yield from _labelled("Stands in", rule.file, style)
    for one in shown.policy.overridden:
        if one.rule == rule.id and one.dropped is None:
            reason = f": {one.reason}" if one.reason else ""
            yield from _labelled("Overridden", f"{', '.join(one.fields)} by {one.file}{reason}", style)


def _coverage_table(coverage: Coverage, noun: str, style: Style) -> Iterator[str]:
    width = max((len(one.rule.id) for one in coverage.rules), default=4)
    yield style.strong(f"  {'RULE':{width}}  SEVERITY  JUDGED AT   NOT AT  KINDS WHERE IT IS JUDGED")
    for one in coverage.rules:
        unjudged = len({gap.place for gap in one.gaps})
        kinds = sorted({place.kind for place in one.places})
        listed = ", ".join(kinds) if len(kinds) <= MAX_KINDS else f"{len(kinds)} kinds"
        judged = counted(len(one.places), noun)
        yield visible(f"  {one.rule.id:{width}}  {one.rule.severity:8}  {judged:10}  {unjudged:6}  {listed}".rstrip())


def _provision_lines(coverage: Coverage, style: Style) -> Iterator[str]:
    if coverage.provisions:
        yield ""
        yield style.strong(f"PROVISIONS THAT RULES LOOK AT: {len(coverage.provisions)}")
        for provision, rules in coverage.provisions.items():
            yield from style.wrapped(f"{provision}: {', '.join(rules)}", indent=2, hanging=4)
    if coverage.beyond:
        yield ""
        yield style.strong(f"PROVISIONS THAT NO SETTING CAN SHOW: {len(coverage.beyond)}")
        for one in coverage.beyond:
            yield from style.wrapped(f"{provision_of(one.provision) or one.provision}: {one.why}", indent=2, hanging=4)


def _gap_lines(one: RuleCoverage, noun: str) -> Iterator[str]:
    """The gaps of one rule, a line for each setting: channels and points of one kind mostly share their reason."""
    by_setting: dict[str, list[Gap]] = {}
    for gap in one.gaps:
        by_setting.setdefault(generic_name(gap.setting), []).append(gap)
    for setting, gaps in by_setting.items():
        reasons = list(dict.fromkeys(gap.reason for gap in gaps))
        more = f", and {len(reasons) - MAX_REASONS} more reasons like these" if len(reasons) > MAX_REASONS else ""
        where = counted(len({gap.place for gap in gaps}), noun)
        yield f"{one.rule.id}, {setting} at {where}: {'; '.join(reasons[:MAX_REASONS])}{more}"


def _labelled(label: str, text: str, style: Style) -> Iterable[str]:
    return style.wrapped(f"{label + ':':12}{text}", indent=2, hanging=14)
