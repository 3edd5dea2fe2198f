"""What watching the way to the outside comes to in an audit: a finding for each point, device and source.

What belongs here: encounters, and the silence of sources, as findings. What does not: judging traffic (`egress`).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property

from pattress.model.encounter import HOUR, Encounter, EncounterKind, Hearing
from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.reading import Reading, Snapshot
from pattress.model.rules import Rule
from pattress.model.watching import WatchSource
from pattress.policy.builtin import ASKS_NOTHING, SETTING_TRUE, STAYS_INSIDE, UNLIKE_BEFORE, WATCH_HEARD

LOST_SHARE = 0.01  # of what a source told: what is missing above that leaves too much room for a leak
MOMENT_S, MOMENT_SHARE = 5.0, 0.01  # of a close look that may be missed: the watch takes stock every two seconds
SHORT_S = 7200.0  # below which minutes are counted
MAX_NAMED = 3  # places that a sentence names; the others are counted, and `pattress encounters` lists them all
PROTOCOLS: Mapping[int, str] = {1: "ICMP", 6: "TCP", 17: "UDP", 58: "ICMPv6"}
CLOUD = "cloud.enabled"


@dataclass(frozen=True, kw_only=True)  # without slots: what was computed once is kept in it
class Outlook:
    """What was seen of the way to the outside from `since` until just before `until`.

    `sources` are those of the site; without any, nothing watches and nothing is judged. `unlike` says by device how
    it is unlike before. An audit looks at whole hours, of which a source may miss as many as the site says. Where
    `is_close`, it is about minutes: nobody may have failed to listen for more than a moment of them.
    """

    since: datetime
    until: datetime
    sources: Sequence[WatchSource] = ()
    encounters: Sequence[Encounter] = ()
    hearings: Sequence[Hearing] = ()
    unlike: Mapping[str, str] = field(default_factory=dict)
    is_close: bool = False

    @property
    def is_watched(self) -> bool:
        """Whether the site has any source at all."""
        return bool(self.sources)

    @property
    def whole_s(self) -> float:
        """How long it is."""
        return max((self.until - self.since).total_seconds(), 1.0)

    @cached_property
    def coverage(self) -> "Sequence[Coverage]":
        """How well each source was heard: the same for every device, of which there may be thousands."""
        return coverage_of(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How well one source was heard: seconds of silence out of so many, and what is known to be missing.

    More than `most_quiet_s` of silence is too much to believe what it does not tell.
    """

    source: WatchSource
    quiet_s: float
    whole_s: float
    most_quiet_s: float
    heard: int
    lost: int

    @property
    def is_whole(self) -> bool:
        """Whether its silence and its losses are small enough to believe what it does not tell."""
        return self.quiet_s <= self.most_quiet_s and self.lost <= LOST_SHARE * (self.heard + self.lost)

    @property
    def words(self) -> str:
        """It in words."""
        unit, unit_s = ("min", 60) if self.whole_s < SHORT_S else ("h", 3600)
        heard, whole = max(self.whole_s - self.quiet_s, 0.0) / unit_s, self.whole_s / unit_s
        words = f"{self.source.name} was heard in {heard:.1f} of {whole:.1f} {unit}"
        return f"{words}, {self.lost} records lost" if self.lost else words


def coverage_of(outlook: Outlook) -> list[Coverage]:
    """Return how well each source was heard."""
    found = []
    for source in outlook.sources:
        own = [one for one in outlook.hearings if one.source == source.name]
        quiet_s = _unheard_s(source, own, outlook) if outlook.is_close else _quiet_hours_s(own, outlook)
        allowed_s = max(MOMENT_S, MOMENT_SHARE * outlook.whole_s) if outlook.is_close else source.silent_after_s
        found.append(
            Coverage(
                source=source,
                quiet_s=quiet_s,
                whole_s=outlook.whole_s,
                most_quiet_s=allowed_s,
                heard=sum(one.heard for one in own if one.hour + HOUR > outlook.since),
                lost=sum(one.lost for one in own if one.hour + HOUR > outlook.since),
            )
        )
    return found


def _quiet_hours_s(hearings: Sequence[Hearing], outlook: Outlook) -> float:
    """For how long nobody listened. An hour in which nothing came is silence, whoever listened."""
    heard = [one for one in hearings if one.heard]
    return outlook.whole_s - sum(one.listened_within_s(outlook.since, outlook.until) for one in heard)


def _unheard_s(source: WatchSource, hearings: Sequence[Hearing], outlook: Outlook) -> float:
    """For how long nobody listened; all of it where the source's last word is older than one of its may be."""
    oldest = outlook.until - timedelta(seconds=source.silent_after_s)
    if not any(one.heard_at is not None and one.heard_at >= oldest for one in hearings):
        return outlook.whole_s
    return outlook.whole_s - sum(one.listened_within_s(outlook.since, outlook.until) for one in hearings)


def source_findings(outlook: Outlook) -> Iterator[Finding]:
    """Yield for each source whether it was heard."""
    for one in outlook.coverage:
        subject = Subject(device_title=one.source.name)
        yield _finding(WATCH_HEARD, subject, "met" if one.is_whole else "unverified", one.words)


def device_findings(
    outlook: Outlook, subject: Subject, ids: Iterable[str], reading: Reading | None, *, is_planned: bool = True
) -> Iterator[Finding]:
    """Yield what a device had to do with the outside. `ids` are all that it may be known by.

    A device that is not planned is only told of where there is something to tell.
    """
    if not outlook.is_watched:
        return
    known = frozenset(ids)
    own = [one for one in outlook.encounters if one.device in known]
    passing = [one for one in outlook.coverage if _shows_what_passes(one.source)]
    trying = [one for one in outlook.coverage if _shows_what_tries(one.source)]
    yield from _judged(STAYS_INSIDE, subject, own, ("reached", "approached"), passing, is_planned)
    if not any(one.kind == "reached" for one in own) or any(one.kind in ("tried", "asked") for one in own):
        # Of a device that got outside nobody says that it does not try.
        yield from _judged(ASKS_NOTHING, subject, own, ("tried", "asked"), trying, is_planned)
    yield from _untrue(subject, own, reading)
    for device in known & outlook.unlike.keys():
        yield _finding(UNLIKE_BEFORE, subject, "broken", outlook.unlike[device])


def _judged(
    rule: Rule,
    subject: Subject,
    encounters: Sequence[Encounter],
    kinds: tuple[EncounterKind, ...],
    sources: Sequence[Coverage],
    is_planned: bool,
) -> Iterator[Finding]:
    bad = [one for one in encounters if one.kind in kinds]
    whole = [one for one in sources if one.is_whole]
    if bad:
        yield _finding(rule, subject, "broken", encounters_words(bad))
    elif not is_planned:
        return
    elif whole:
        yield _finding(rule, subject, "met", f"nothing was seen; {whole[0].words}")
    elif sources:
        yield _finding(rule, subject, "unverified", "; ".join(one.words for one in sources))
    else:
        yield _finding(rule, subject, "unverified", _UNSEEN[rule.id])


_UNSEEN = {
    STAYS_INSIDE.id: "no source tells of what is let through: names alone, or what is dropped alone, prove nothing",
    ASKS_NOTHING.id: "no source tells of what does not get through: connections, or what passed, prove nothing",
}


def _shows_what_passes(source: WatchSource) -> bool:
    """Whether packets that get outside show in a source."""
    return source.kind in ("flows", "connections") or "let-through" in source.verdicts.values()


def _shows_what_tries(source: WatchSource) -> bool:
    """Whether packets that the filter drops, or names that are asked for, show in a source."""
    is_before_filter = source.kind == "flows" and not source.is_after_filter
    return is_before_filter or source.kind == "names" or "dropped" in source.verdicts.values()


def _untrue(subject: Subject, encounters: Sequence[Encounter], reading: Reading | None) -> Iterator[Finding]:
    """Yield that a cloud which is off is not: the device goes outside though it says it does not."""
    if not isinstance(reading, Snapshot) or CLOUD not in reading.values or reading.values[CLOUD].value is not False:
        return
    went = [one for one in encounters if one.kind in ("tried", "reached")]
    if went:
        yield Finding(
            SETTING_TRUE, subject, CLOUD, "broken", "true to what it does", False,
            remark=f"it says false, and {encounters_words(went)}",
        )  # fmt: skip


def encounters_words(encounters: Sequence[Encounter]) -> str:
    """Return encounters of one device in one clause: the gravest first, each place once."""
    places: dict[tuple[EncounterKind, str], list[Encounter]] = {}
    for one in sorted(encounters, key=lambda one: (GRAVEST.index(one.kind), one.first_at)):
        places.setdefault((one.kind, one.remote), []).append(one)
    clauses = [_place_words(kind, remote, ones) for (kind, remote), ones in list(places.items())[:MAX_NAMED]]
    more = f", and {len(places) - MAX_NAMED} more" if len(places) > MAX_NAMED else ""
    return "; ".join(clauses) + more


GRAVEST: tuple[EncounterKind, ...] = ("reached", "approached", "tried", "asked")
_DONE: Mapping[EncounterKind, str] = {
    "reached": "it reached",
    "approached": "it was approached from",
    "tried": "it tried to reach",
    "asked": "it asked for",
}


def _place_words(kind: EncounterKind, remote: str, encounters: Sequence[Encounter]) -> str:
    names = [one.name for one in encounters if one.name is not None and one.name != remote]
    ports = sorted({port_words(one) for one in encounters} - {""})
    times = sum(one.count for one in encounters)
    first_at = min(one.first_at for one in encounters)
    octets = sum(one.octets_out + one.octets_in for one in encounters)
    name = f" ({names[-1]})" if names else ""
    port = f" on {', '.join(ports[:MAX_NAMED])}" if ports else ""
    much = f", {octets} octets" if octets else ""
    often = f", {times} times" if times > 1 else ""
    return f"{_DONE[kind]} {remote}{name}{port}{often}{much}, first at {first_at.astimezone():%Y-%m-%d %H:%M}"


def port_words(encounter: Encounter) -> str:
    """Return the protocol and the port that was called, or nothing where neither is known."""
    if encounter.protocol is None:
        return "" if encounter.port is None else f"port {encounter.port}"
    protocol = PROTOCOLS.get(encounter.protocol, f"protocol {encounter.protocol}")
    return protocol if encounter.port is None else f"{protocol} port {encounter.port}"


def _finding(rule: Rule, subject: Subject, outcome: Outcome, remark: str) -> Finding:
    return Finding(rule, subject, None, outcome, rule.title.lower(), remark=remark)
