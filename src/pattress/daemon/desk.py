"""Where all evidence comes together: judged, counted, and made ready to be kept and told.

What belongs here: the way from evidence to what is kept and told, the same for what comes live and for what is looked
at again. What does not: sockets, files, the store. It reads no clock.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import chain
from typing import TypeVar

from pattress.alert.book import AlertBook
from pattress.egress.allowances import Allowances
from pattress.egress.gathering import Gathering
from pattress.egress.judge import Judge
from pattress.egress.name_log import NameLog
from pattress.egress.netfilter import FirewallLog
from pattress.egress.space import Space
from pattress.egress.syslog import parse_message
from pattress.egress.tally import Tallies, Tally
from pattress.egress.whereabouts import Whereabouts
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Alert, Company, Encounter, Evidence, Hearing, Told
from pattress.model.site import Site
from pattress.model.watching import WatchSource

Item = TypeVar("Item")
Call = tuple[IPAddress, IPAddress, int | None]
LONGEST_STEP_S = 60.0  # between two takings: more means that the machine slept, and that nobody listened
MAX_ALERTS = 1_000  # not yet taken; about 2 kB each. What is above that is in the message of the day


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What has come of it since it was last taken."""

    encounters: Sequence[Encounter]
    hearings: Sequence[Hearing]
    company: Sequence[Company]
    told: Sequence[Told]
    alerts: Sequence[Alert]
    strangers: int


class Desk:
    """Takes evidence from every source of a site."""

    def __init__(self, site: Site, whereabouts: Whereabouts, told: Iterable[Told] = ()) -> None:
        watching = site.watching
        self.tallies = Tallies()
        self.space = Space(site.networks)
        self.whereabouts = whereabouts
        self.allowances = Allowances(watching.allowances, watching.mud_files, site.plan)
        self.book = AlertBook(told, tells_tried_at_once=watching.tells_tried_at_once)
        self._sources = watching.sources
        self._judge = Judge(site.networks, self.space, self.allowances, whereabouts, self.tallies)
        self._firewalls = {one.name: FirewallLog(one) for one in watching.sources if one.kind == "firewall"}
        self._names = {one.name: NameLog(one) for one in watching.sources if one.kind == "names"}
        self._gathering = Gathering()
        self._alerts: list[Alert] = []
        self._taken_at: datetime | None = None

    def know(self, whereabouts: Whereabouts) -> None:
        """Take note of where devices are now."""
        self.whereabouts = whereabouts
        self._judge.know(whereabouts)

    def message(self, source: WatchSource, data: bytes, now: datetime) -> None:
        """Take in a syslog message, which holds a line of a log."""
        parsed = parse_message(data)
        if parsed is None:
            self.tallies.of(source.name).refused += 1
        else:
            # With the tag: who wrote it decides whether it can be the line of a filter or of a resolver at all.
            self.line(source, parsed.line, now)

    def line(self, source: WatchSource, text: str, now: datetime) -> None:
        """Take in a line of a log. One that is of something else is left aside."""
        firewall, names = self._firewalls.get(source.name), self._names.get(source.name)
        if firewall is not None:
            traffic = firewall.evidence(text, now)
            if traffic is not None:
                self.evidence(traffic)
        elif names is not None:
            for one in names.evidence(text, now):
                self.evidence(one)

    def evidence(self, evidence: Evidence) -> None:
        """Take in what a source says."""
        self._encountered(self._judge.judge(evidence))

    def calls(self, calls: Iterable[Call], now: datetime) -> None:
        """Take in which addresses of the device networks called which hosts and ports of the inside."""
        for device, host, port in calls:
            self._judge.call(device, host, port, now)

    def unlike(self, device: str, sentence: str, at: datetime) -> None:
        """Take in that a device is unlike before."""
        self._tell(self.book.take_unlike(device, sentence, at, has_room=self._has_room))

    def take(self, now: datetime, *, is_last: bool = False) -> Taken:
        """Return what has come since the last time. With `is_last`, what still waited for more does not any longer."""
        self._encountered(self._judge.settled(None if is_last else now))
        alerts, self._alerts = self._alerts, []
        strangers, self.tallies.strangers = self.tallies.strangers, 0
        return Taken(
            encounters=self._gathering.take(),
            hearings=self._hearings(now),
            company=self._judge.take_company(),
            told=self.book.take_changed(),
            alerts=alerts,
            strangers=strangers,
        )

    def _encountered(self, encounters: Iterable[Encounter]) -> None:
        for one in encounters:
            self._gathering.add(one)
            self._tell(self.book.take(one, has_room=self._has_room))

    @property
    def _has_room(self) -> bool:
        return len(self._alerts) < MAX_ALERTS

    def _tell(self, alert: Alert | None) -> None:
        if alert is not None:
            self._alerts.append(alert)

    def _hearings(self, now: datetime) -> list[Hearing]:
        """Count the time since the last taking as listened to, for each source that nothing troubles."""
        before, self._taken_at = self._taken_at or now, now
        step_s = (now - before).total_seconds()
        has_listened = 0 < step_s <= LONGEST_STEP_S
        hour = now.replace(minute=0, second=0, microsecond=0)
        tallies = self.tallies.take()
        found = []
        for source in self._sources:
            tally = tallies.get(source.name, Tally())
            is_listened = has_listened and tally.trouble is None
            found.append(
                Hearing(
                    source=source.name,
                    hour=hour,
                    listened_s=step_s if is_listened else 0.0,
                    listened_from=before if is_listened else None,
                    listened_until=now if is_listened else None,
                    heard_at=now if tally.heard else None,
                    heard=tally.heard,
                    lost=tally.lost,
                    refused=tally.refused,
                    unmatched=tally.unmatched,
                )
            )
        return found


def added_up(first: Taken, second: Taken) -> Taken:
    """Return what two takings come to, for what could not be kept yet. Alerts, which were told, are left out."""
    gathering = Gathering()
    for encounter in chain(first.encounters, second.encounters):
        gathering.add(encounter)
    hearings: dict[tuple[str, datetime], Hearing] = {}
    for one in chain(first.hearings, second.hearings):
        earlier = hearings.get((one.source, one.hour))
        hearings[one.source, one.hour] = one if earlier is None else _heard(earlier, one)
    return Taken(
        encounters=gathering.take(),
        hearings=list(hearings.values()),
        company=list(_newest(chain(first.company, second.company), lambda one: (one.device, one.hour))),
        told=list(_newest(chain(first.told, second.told), lambda one: (one.device, one.kind, one.place))),
        alerts=(),
        strangers=first.strangers + second.strangers,
    )


def _heard(earlier: Hearing, later: Hearing) -> Hearing:
    return replace(
        earlier,
        listened_s=earlier.listened_s + later.listened_s,
        listened_from=_of_both(min, earlier.listened_from, later.listened_from),
        listened_until=_of_both(max, earlier.listened_until, later.listened_until),
        heard_at=_of_both(max, earlier.heard_at, later.heard_at),
        heard=earlier.heard + later.heard,
        lost=earlier.lost + later.lost,
        refused=earlier.refused + later.refused,
        unmatched=earlier.unmatched + later.unmatched,
    )


def _of_both(
    choose: Callable[[Iterable[datetime]], datetime], one: datetime | None, other: datetime | None
) -> datetime | None:
    known = [moment for moment in (one, other) if moment is not None]
    return choose(known) if known else None


def _newest(items: Iterable[Item], key: Callable[[Item], object]) -> Iterable[Item]:
    return {key(one): one for one in items}.values()
