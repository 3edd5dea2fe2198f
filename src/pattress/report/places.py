"""Findings by room and by place: the order in which every report for people shows them. What does not belong: words."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from pattress.model.finding import Finding, Subject
from pattress.model.rules import SEVERITIES, Rule

SITE_ITSELF = "The site itself"
NO_ROOM = "In no plan"
MAX_PLACES = 100  # in one room; more is a flood of announcements, which must not bury the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A point, a device in no plan or a source, with its findings in the order of the audit."""

    subject: Subject
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room with its first `MAX_PLACES` places; `left_out` counts those beyond."""

    name: str
    places: tuple[Place, ...]
    left_out: int = 0


def by_room(findings: Iterable[Finding]) -> list[Room]:
    """Return findings by room and place: rooms of the plan first, then devices in no plan, then the site itself."""
    rooms = []
    for name, in_room in groupby(sorted(findings, key=_order), key=lambda one: room_of(one.subject)):
        places = [
            Place(subject=together[0].subject, findings=tuple(together))
            for together in (list(group) for _, group in groupby(in_room, key=lambda one: place_key(one.subject)))
        ]
        rooms.append(Room(name=name, places=tuple(places[:MAX_PLACES]), left_out=max(0, len(places) - MAX_PLACES)))
    return rooms


def room_of(subject: Subject) -> str:
    """Return the room to show a subject under."""
    return subject.room or (NO_ROOM if subject.device is not None else SITE_ITSELF)


def place_key(subject: Subject) -> tuple[str, str]:
    """Return what tells one place from another: two strangers may go by one name."""
    return subject.title, "" if subject.point else subject.device or ""


def gravest_first(finding: Finding) -> tuple[int, str, str]:
    """Order the findings of one place."""
    return SEVERITIES.index(finding.rule.severity), finding.rule.id, finding.setting or ""


def rules_of(findings: Iterable[Finding]) -> list[Rule]:
    """Return the rules of findings, each once, the gravest first."""
    rules = {finding.rule.id: finding.rule for finding in findings}
    return sorted(rules.values(), key=lambda rule: (SEVERITIES.index(rule.severity), rule.id))


def _order(finding: Finding) -> tuple[bool, bool, str, bool, tuple[str, str]]:
    """Order the places: within a room, known kinds before others."""
    subject = finding.subject
    is_stranger = subject.point is None and subject.kind is None
    is_site = subject.room is None and subject.device is None
    return subject.room is None, is_site, subject.room or "", is_stranger, place_key(subject)
