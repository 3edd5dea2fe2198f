"""Sightings of services: what is told of an announced service, once, and again when it has changed.

What belongs here: from an announcement and its addresses to sightings. What does not: records, and what is not known.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from pattress.discovery.recognise import Service, recognise
from pattress.discovery.txt import parse_txt, shown
from pattress.model.device import Sighting
from pattress.model.profile import Profile

MAX_SIGHTINGS = 10_000  # of one listening: five for each service. At most 10,000 x 6 kB (TXT of 1,300 bytes, each shown
# as four characters) = 60 MB; those of a house are under 1 kB each

Told = dict[str | None, Sighting]
"""What was last told of one service, by address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Announcement:
    """What a service says of itself. `label` is its instance name without the type; `host` is empty where unknown."""

    service_type: str
    label: str
    host: str
    port: int | None
    text: bytes


class SightingMaker:
    """Makes sightings of the services on one interface. `dropped` counts those over the limit."""

    def __init__(self, interface: str, profiles: Sequence[Profile], clock: Callable[[], datetime]) -> None:
        self.count = 0
        self.dropped = 0
        self._interface = interface
        self._profiles = tuple(profiles)
        self._clock = clock
        self._ready: list[Sighting] = []

    def tell(self, announcement: Announcement, addresses: Collection[str], told: Told) -> None:
        """Make a sighting for each address of which it has not been told so yet, and keep in `told` what was."""
        new = self._sighting(announcement)
        wanted: Collection[str | None] = addresses or (None,)
        for address in wanted:
            sighting = replace(new, address=address)
            if address in told and replace(told[address], seen_at=new.seen_at) == sighting:
                continue
            told[address] = sighting
            self._add(sighting)
        for address in set(told).difference(wanted):
            del told[address]

    def say_goodbye(self, announcement: Announcement, told: Told) -> None:
        """Make a sighting that it has gone, for each address that was told."""
        new = self._sighting(announcement)
        for sighting in list(told.values()) or [new]:
            self._add(replace(sighting, seen_at=new.seen_at, is_gone=True))

    def take(self) -> list[Sighting]:
        """Return the sightings made since the last time."""
        ready, self._ready = self._ready, []
        return ready

    def _add(self, sighting: Sighting) -> None:
        if self.count >= MAX_SIGHTINGS:
            self.dropped += 1
            return
        self.count += 1
        self._ready.append(sighting)

    def _sighting(self, announcement: Announcement) -> Sighting:
        txt = parse_txt(announcement.text)
        service = Service(service_type=announcement.service_type, instance=announcement.label, txt=txt)
        recognised = recognise(self._profiles, service)
        return Sighting(
            source="mdns",
            seen_at=self._clock(),
            name=announcement.label,
            port=announcement.port,
            mac=None if recognised is None else recognised.mac,
            serial=None if recognised is None else recognised.serial,
            kind=None if recognised is None else recognised.kind,
            channel=f"{announcement.service_type} on {self._interface}",
            details=_details(announcement.host, txt),
        )


def _details(host: str, txt: Mapping[str, bytes | None]) -> Mapping[str, str]:
    known_host = {"host": host.removesuffix(".")} if host else {}
    return known_host | {f"txt.{key}": shown(value) for key, value in txt.items()}
