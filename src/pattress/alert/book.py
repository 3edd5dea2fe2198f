"""What a person is told, and what only counts: one device, one kind, one place outside is told once.

What belongs here: that decision, without I/O and without a clock. What does not: the words, and the way they go.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, time, timedelta
from ipaddress import IPv4Address, ip_network

from pattress.model.addresses import parse_address
from pattress.model.encounter import Alert, Encounter, Told, ToldKind

FORGOTTEN_AFTER = timedelta(days=7)  # what comes back after that is news again
MAX_PLACES = 200  # of one device and kind. All others are one place, `elsewhere`
MAX_ENTRIES = 20_000  # of all devices, about 400 bytes each, so 8 MB. Above it every new place is `elsewhere`, of
# which there is one for each device and kind: addresses of the device networks are what bounds these
ELSEWHERE = "elsewhere"
TRANSLATED = ip_network("64:ff9b::/96")  # RFC 6052 section 2.1: the last 32 bits are the IPv4 address
DAILY_AT = time(7, 0)  # local time: with the first coffee, after the audit of the night

Key = tuple[str, ToldKind, str]


class AlertBook:
    """What was told of each, so that it is told once. Begins with what was kept of it."""

    def __init__(self, told: Iterable[Told] = (), *, tells_tried_at_once: bool = False) -> None:
        self._told: dict[Key, Told] = {(one.device, one.kind, one.place): one for one in told}
        self._places = Counter((device, kind) for device, kind, _ in self._told)
        self._changed: set[Key] = set()
        self._tells_tried_at_once = tells_tried_at_once

    def take(self, encounter: Encounter, *, has_room: bool = True) -> Alert | None:
        """Take in an encounter; return what is to be told of it at once, or None where it counts or waits.

        Where nothing `has_room` to be told at once, it waits for the message of the day.
        """
        octets = encounter.octets_out + encounter.octets_in
        entry, is_news = self._noted(
            encounter.device, encounter.kind, place_of(encounter), encounter.first_at, encounter.last_at,
            encounter.count, octets,
        )  # fmt: skip
        waits = not has_room or (encounter.kind in ("asked", "tried") and not self._tells_tried_at_once)
        return Alert(told=self._said(entry, encounter.last_at), encounter=encounter) if is_news and not waits else None

    def take_unlike(self, device: str, sentence: str, at: datetime, *, has_room: bool = True) -> Alert | None:
        """Take in that a device is unlike before; return what is to be told of it, or None where it was told."""
        entry, is_news = self._noted(device, "unlike-before", "inside", at, at, 1, 0)
        return Alert(told=self._said(entry, at), sentence=sentence) if is_news and has_room else None

    def daily(self, now: datetime) -> list[Told]:
        """Return what has come since it was last told, and take note that it is told now.

        What is so long past that it would be news again makes room for other places.
        """
        due = [entry for entry in self._told.values() if entry.count > entry.told_count]
        for entry in due:
            self._said(entry, now)
        self._told = {
            key: entry
            for key, entry in self._told.items()
            if now - entry.last_at <= FORGOTTEN_AFTER or key in self._changed
        }
        self._places = Counter((device, kind) for device, kind, _ in self._told)
        return sorted(due, key=lambda one: (one.device, one.kind, one.place))

    def take_changed(self) -> list[Told]:
        """Return what has changed since this was last asked, to be kept."""
        changed, self._changed = self._changed, set()
        return [self._told[key] for key in sorted(changed)]

    def _noted(
        self, device: str, kind: ToldKind, place: str, first_at: datetime, last_at: datetime, count: int, octets: int
    ) -> tuple[Told, bool]:
        """Return the entry with this added, and whether nobody was told of it yet."""
        key = self._key(device, kind, place)
        entry = self._told.get(key)
        if entry is None or last_at - entry.last_at > FORGOTTEN_AFTER:
            entry = Told(
                device=device, kind=kind, place=key[2], first_at=first_at, last_at=last_at, count=count, octets=octets
            )
        else:
            entry = replace(
                entry,
                last_at=max(entry.last_at, last_at),
                count=entry.count + count,
                octets=entry.octets + octets,
            )
        self._keep(key, entry)
        return entry, entry.told_at is None

    def _key(self, device: str, kind: ToldKind, place: str) -> Key:
        key = (device, kind, place)
        if key in self._told:
            return key
        is_full = self._places[device, kind] >= MAX_PLACES or len(self._told) >= MAX_ENTRIES
        if is_full and place != ELSEWHERE:
            return self._key(device, kind, ELSEWHERE)
        self._places[device, kind] += 1
        return key

    def _said(self, entry: Told, at: datetime) -> Told:
        said = replace(entry, told_at=at, told_count=entry.count)
        self._keep((entry.device, entry.kind, entry.place), said)
        return said

    def _keep(self, key: Key, entry: Told) -> None:
        self._told[key] = entry
        self._changed.add(key)


def place_of(encounter: Encounter) -> str:
    """Return the place outside: the /24 or /48 around an address (as networks are commonly given out), or the name.

    Behind a translator are all IPv4 networks there are: of its addresses it is the one that is meant.
    """
    address = parse_address(encounter.remote)
    if address is None:
        return encounter.remote
    if address in TRANSLATED:
        address = IPv4Address(int(address) & 0xFFFF_FFFF)
    return str(ip_network((address, 24 if address.version == 4 else 48), strict=False))


def next_daily(after: datetime) -> datetime:
    """Return the next moment for the daily message, in local time, whatever the clocks do that night."""
    local = after.astimezone()
    for days in (0, 1, 2):
        day = local.date() + timedelta(days=days)
        moment = datetime.combine(day, DAILY_AT).astimezone()  # with the offset of that day
        if moment > after:
            return moment
    raise AssertionError("two days hold at least one morning")
