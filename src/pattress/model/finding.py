"""Findings: a rule's outcome for one setting of one device."""

from dataclasses import dataclass
from typing import Literal

from pattress.model.rules import Rule, Waiver

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


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule's outcome for one setting, explained. `found` is None where nothing could be found."""

    rule: Rule
    subject: Subject
    setting: str | None
    outcome: Outcome
    expected: str
    found: str | None = None
    reason: str | None = None
    origin: str | None = None
    waiver: Waiver | None = None

    @property
    def sentence(self) -> str:
        """The finding in one sentence, for a person."""
        what = self.setting or self.rule.title
        match self.outcome:
            case "met":
                return f"{what} is {self.found}, as it must be ({self.expected})."
            case "broken":
                return f"{what} is {self.found or 'not reported'}, but must be {self.expected}."
            case "waived":
                until = f" until {self.waiver.until.isoformat()}: {self.waiver.reason}" if self.waiver else ""
                return f"{what} is {self.found or 'not reported'}, not {self.expected}; accepted{until}."
            case "unverified":
                return f"{what} could not be checked ({self.reason or 'no reason given'}); it must be {self.expected}."
