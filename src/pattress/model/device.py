"""Devices and the evidence that they exist."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

SightingSource = Literal["mdns", "mqtt", "neighbour", "lease", "kept", "point", "reading"]
"""An mDNS answer, an MQTT announcement, an entry of the kernel's neighbour table, a DHCP lease, the database, the plan,
or the device's own answer. A lease says that a device was there once, not that it is there now.
"""

LINK_SOURCES: frozenset[SightingSource] = frozenset({"neighbour", "lease"})
"""What others say of an address and the hardware address behind it; a device's own words are all others."""

LIVE_SOURCES: frozenset[SightingSource] = frozenset({"mdns", "mqtt", "neighbour", "lease", "reading"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One piece of evidence that a device exists.

    `name` is the announced name as the source gives it: an mDNS instance, an MQTT topic. It is text, and may hold
    anything. `is_gone` is a goodbye. `is_dated` is False where the evidence may be of any age (a retained message).
    """

    source: SightingSource
    seen_at: datetime
    name: str | None = None
    address: str | None = None
    port: int | None = None
    mac: str | None = None
    serial: str | None = None
    kind: str | None = None
    channel: str = ""
    is_gone: bool = False
    is_dated: bool = True
    details: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device as the evidence has it. `id` is its MAC, failing that its serial, failing that its announced name.

    `addresses` holds (address, port) pairs, the newest first.
    """

    id: str
    mac: str | None
    serial: str | None
    name: str | None
    kind: str | None
    addresses: tuple[tuple[str, int | None], ...]
    sightings: tuple[Sighting, ...]

    @property
    def ids(self) -> tuple[str, ...]:
        """Its id, and those that it would have by its MAC, its serial or its announced name alone."""
        alone = {"mac": self.mac, "serial": self.serial, "name": self.name}
        return (self.id, *(f"{sort}:{value}" for sort, value in alone.items() if value is not None))

    @property
    def is_seen(self) -> bool:
        """Whether something of now says that it is there: not a goodbye, a retained message or what was kept."""
        return any(
            sighting.source in LIVE_SOURCES and sighting.is_dated and not sighting.is_gone
            for sighting in self.sightings
        )

    @property
    def announced_names(self) -> frozenset[str]:
        """Every name that a sighting gives it."""
        return frozenset(sighting.name for sighting in self.sightings if sighting.name is not None)

    @property
    def is_announced(self) -> bool:
        """Whether it is announced at all, be it by a message of unknown age."""
        return any(sighting.source in LIVE_SOURCES and not sighting.is_gone for sighting in self.sightings)

    @property
    def title(self) -> str:
        """What to call it where it has no point."""
        return self.name or self.serial or self.mac or self.id


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """Two or more devices that claim one identity. They are kept apart and none of them is read.

    `claimants` says each in words: its announced name and where it was.
    """

    identity: str
    mac: str | None
    serial: str | None
    claimants: tuple[str, ...]

    @property
    def announced_names(self) -> frozenset[str]:
        """No name: what several devices claim is known by what they claim alone."""
        return frozenset()
