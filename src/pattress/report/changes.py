"""What has changed from one audit to a later one. Pure.

What belongs here: when a finding is the same one, what is new and what is over. What does not: how a format says it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pattress.model.finding import Finding, Outcome
from pattress.model.kept import KeptFinding

FindingKey = tuple[str, str, str, str]
"""What makes a finding the same from run to run: its place, rule, setting and what it must be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """`new` is not met and was so otherwise, or not at all, before; `over` was not met and is not found so any more.

    `unchanged` counts what is not met and was so before.
    """

    new: tuple[Finding, ...]
    over: tuple[tuple[FindingKey, Outcome], ...]
    unchanged: int


def changes(findings: Sequence[Finding], earlier: Mapping[FindingKey, Outcome]) -> Changes:
    """Return what has changed since the earlier findings, which are those that were not met then."""
    open_ones = [finding for finding in findings if finding.outcome != "met"]
    new = [finding for finding in open_ones if earlier.get(key_of(finding)) != finding.outcome]
    still = {key_of(finding) for finding in open_ones}
    over = sorted((key, outcome) for key, outcome in earlier.items() if key not in still)
    return Changes(new=tuple(new), over=tuple(over), unchanged=len(open_ones) - len(new))


def key_of(finding: Finding) -> FindingKey:
    """Return what makes a finding the same from run to run."""
    subject = finding.subject
    return (subject.point or subject.device or "", finding.rule.id, finding.setting or "", finding.expected)


def key_of_kept(finding: KeptFinding) -> FindingKey:
    """Return the same for a finding that the database gives back."""
    return (finding.point or finding.device or "", finding.rule, finding.setting or "", finding.expected)
