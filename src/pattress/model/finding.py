"""Findings: a rule's outcome for one setting of one device."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, NamedTuple, assert_never

from pattress.model.rules import Rule, Waiver
from pattress.model.vocabulary import Value

Outcome = Literal["met", "broken", "unverified", "waived"]
OUTCOMES: tuple[Outcome, ...] = ("broken", "unverified", "waived", "met")


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What a finding is about: a device at a point, either of them, or (neither) the site itself."""

    device: str | None = None
    device_title: str | None = None
    point: str | None = None
    room: str | None = None
    kind: str | None = None

    @property
    def title(self) -> str:
        """What a person calls it."""
        return self.point or self.device_title or self.device or "the site"


class Finding(NamedTuple):
    """A rule's outcome for one setting, explained.

    `value` is what the device reported, `remark` says in words what was found, or why nothing could be. `since` is when
    it became so, where that is known, and `before` what it was until then, for a finding about a change.

    It is a tuple where its like are frozen data classes: an audit makes one for each check, and most of the time that
    judging takes went into making them.
    """

    rule: Rule
    subject: Subject
    setting: str | None
    outcome: Outcome
    expected: str
    value: Value | None = None
    remark: str | None = None
    origin: str | None = None
    waiver: Waiver | None = None
    since: datetime | None = None
    before: Value | None = None

    @property
    def found(self) -> str | None:
        """What was found, in words; None where nothing could be."""
        if self.value is not None:
            return shown(self.value)
        return None if self.outcome == "unverified" else self.remark

    @property
    def reason(self) -> str | None:
        """Why it could not be checked; None where it could."""
        return self.remark if self.outcome == "unverified" else None

    @property
    def sentence(self) -> str:
        """The finding in one sentence, for a person."""
        what = self.setting or self.rule.title
        is_rule = self.setting is None
        match self.outcome:
            case "met":
                return f"{what}: {self.found}." if is_rule else f"{what} is {self.found}, as it must be."
            case "broken" if self.before is not None:
                return f"{what}: {self._change}."
            case "broken":
                found = self.found or "not reported"
                return f"{what}: {found}." if is_rule else f"{what} is {found}, but must be {self.expected}."
            case "waived":
                found = self.found or self.remark or "not reported"
                return f"{what} is {found}, not {self.expected}; {self._acceptance}."
            case "unverified":
                told = f"{what}: could not be checked" if is_rule else f"{what} could not be checked"
                return f"{told}: {self.remark}. It must be {self.expected}."
            case _:
                assert_never(self.outcome)

    @property
    def _change(self) -> str:
        """Then and now, since when, and what else it breaks."""
        before = shown(self.before) if self.before is not None else "nothing"
        since = f" since {self.since.astimezone():%Y-%m-%d %H:%M}" if self.since is not None else ""
        more = f"; {self.remark}" if self.remark else ""
        return f"{before} \u2192 {self.found or 'not reported'}{since}, but must be {self.expected}{more}"

    @property
    def _acceptance(self) -> str:
        if self.waiver is None:
            return "accepted"
        return f"accepted until {self.waiver.until.isoformat()}: {self.waiver.reason.rstrip('.')}"


def shown(value: Value) -> str:
    """Return a value as a sentence holds it: text in quotes, the rest as the files write it."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
