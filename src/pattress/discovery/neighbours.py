"""Sightings from the kernel's neighbour tables: who has answered for an address on this host's own networks.

What belongs here: which entries say that a device is there, and following the tables over netlink. What does not:
making the kernel look for neighbours (`sweep`). The library (pyroute2) is imported only when it is used; the tables
are read over netlink because that needs no privilege, and `/proc/net` is hidden from a service that is locked in.
"""

import asyncio
import errno
import importlib
import socket
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NoReturn

from pattress.discovery import Sink
from pattress.discovery.interfaces import interfaces_inside
from pattress.model.addresses import IPAddress, is_inside, normal_mac, parse_address
from pattress.model.device import Sighting
from pattress.model.site import Networks
from pattress.model.source import SourceReport
from pattress.wire.reach import interface_addresses

MAX_SIGHTINGS = 10_000  # of one listening, about 1 kB each; the kernel keeps 1,024 entries unless it is told otherwise
DUMP_TRIES = 3  # the kernel says when a table changed while it was read
TICKS_PER_S = 100  # USER_HZ, the unit of times in netlink, the same on every Linux of today

# Flags of `ndm_state` (linux/neighbour.h). An entry in any other state names no device: being asked for, failed, or
# one that needs no asking (multicast, loopback).
REACHABLE = 0x02
STATES: Mapping[int, str] = {REACHABLE: "reachable", 0x04: "stale", 0x08: "delay", 0x10: "probe", 0x80: "permanent"}
PROXY = 0x08  # a flag of `ndm_flags`: an address that this host answers for


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """One entry of a table. `confirmed_s` is how long ago the device was last known to answer."""

    interface: str
    address: IPAddress
    mac: str
    state: str
    confirmed_s: float

    @property
    def shown_address(self) -> str:
        """The address as text, with the interface as its zone where it means nothing without."""
        return f"{self.address}%{self.interface}" if self.is_link_local else str(self.address)

    @property
    def is_link_local(self) -> bool:
        """Whether the address is one of IPv6 that is good on its own link only."""
        return self.address.version == 6 and self.address.is_link_local


def neighbour_of(message: Any) -> Neighbour | None:
    """Return the entry that a message of the kernel tells of, or None where it names no device.

    Source: rtnetlink(7), linux/neighbour.h.
    """
    state = STATES.get(message["state"])
    mac = normal_mac(str(message.get("lladdr") or ""))
    address = parse_address(str(message.get("dst") or ""))
    if message["event"] != "RTM_NEWNEIGH" or message["flags"] & PROXY or state is None:
        return None
    if mac is None or mac == "00:00:00:00:00:00" or int(mac[:2], 16) & 1:  # none, or that of a group
        return None
    if address is None or address.is_multicast or address.is_unspecified or address.is_loopback:
        return None
    try:
        interface = socket.if_indextoname(message["ifindex"])
    except OSError:  # it has gone since
        return None
    times = message.get_attr("NDA_CACHEINFO") or {}
    confirmed_s = times.get("ndm_confirmed", 0) / TICKS_PER_S
    return Neighbour(interface=interface, address=address, mac=mac, state=state, confirmed_s=confirmed_s)


def sighting_of(neighbour: Neighbour, now: datetime) -> Sighting:
    """Return the sighting that an entry is.

    Only a reachable one is dated, by when the device last answered. A stale one may be of any age; `delay` and
    `probe` mean that the kernel is asking whether it is still so, which our own datagrams may have caused, and
    `permanent` that somebody has written it down.
    """
    is_dated = neighbour.state == STATES[REACHABLE]
    return Sighting(
        source="neighbour",
        seen_at=now - timedelta(seconds=neighbour.confirmed_s) if is_dated else now,
        address=neighbour.shown_address,
        mac=neighbour.mac,
        channel=f"neighbour table on {neighbour.interface}",
        is_dated=is_dated,
        details={"state": neighbour.state},
    )


class NeighbourSource:
    """The kernel's IPv4 and IPv6 neighbour tables as a source of sightings."""

    def __init__(self, networks: Networks, clock: Callable[[], datetime]) -> None:
        self._networks = networks
        self._clock = clock
        self._told: dict[tuple[str, str], bool] = {}  # whether the sighting of an address and a MAC was dated
        self._over = 0

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Hand on each device that the tables name, and each change, until `stop` is set."""
        if sys.platform != "linux":
            return [_failed(f"the neighbour table is read on Linux only, and this is {sys.platform}; {_TURN_OFF}")]
        on_site = frozenset(interfaces_inside(self._networks.devices, interface_addresses()))
        on_site |= frozenset(self._networks.interfaces)
        try:
            # In a thread: importing all of it takes about 0.4 s.
            netlink = await asyncio.to_thread(_library)
        except ImportError as error:
            return [_failed(f"the library pyroute2 cannot be imported ({error}). Install it, or {_TURN_OFF}")]
        failure: str | None = None
        async with asyncio.TaskGroup() as group:
            following = group.create_task(self._followed(netlink, on_site, sink), name="neighbour tables")
            stopping = group.create_task(stop.wait(), name="end of the neighbour tables")
            await asyncio.wait((following, stopping), return_when=asyncio.FIRST_COMPLETED)
            if following.done():
                failure = following.result()
            following.cancel()
            stopping.cancel()
        return [self._report(on_site) if failure is None else _failed(failure)]

    async def _followed(self, netlink: "_Netlink", on_site: frozenset[str], sink: Sink) -> str:
        """Follow the tables until that fails, and return why."""
        try:
            await self._follow(netlink, on_site, sink)
        except (OSError, netlink.errors) as error:
            return f"the kernel does not give its neighbour tables ({error}). If it never does, {_TURN_OFF}"

    async def _follow(self, netlink: "_Netlink", on_site: frozenset[str], sink: Sink) -> NoReturn:
        async with netlink.open() as tables:
            await tables.bind(netlink.group)  # before the tables are read, so that no change is lost between
            while True:
                await self._read(netlink, tables, on_site, sink)
                try:
                    while True:
                        async for message in tables.get():
                            self._take(message, on_site, sink)
                except OSError as error:
                    if error.errno != errno.ENOBUFS:  # changes came faster than we took them: read all of it again
                        raise

    async def _read(self, netlink: "_Netlink", tables: Any, on_site: frozenset[str], sink: Sink) -> None:
        for attempt in range(DUMP_TRIES):
            try:
                async for message in await tables.neigh("dump"):
                    self._take(message, on_site, sink)
            except netlink.interrupted:
                if attempt == DUMP_TRIES - 1:
                    raise
            else:
                return

    def _take(self, message: Any, on_site: frozenset[str], sink: Sink) -> None:
        neighbour = neighbour_of(message)
        if neighbour is None or not self._is_on_site(neighbour, on_site):
            return
        sighting = sighting_of(neighbour, self._clock())
        key = (neighbour.shown_address, neighbour.mac)
        if self._told.get(key, False) or (key in self._told and not sighting.is_dated):
            return
        if key not in self._told and len(self._told) >= MAX_SIGHTINGS:
            self._over += 1
            return
        self._told[key] = sighting.is_dated
        sink(sighting)

    def _is_on_site(self, neighbour: Neighbour, on_site: frozenset[str]) -> bool:
        if neighbour.is_link_local:
            return neighbour.interface in on_site
        return is_inside(neighbour.address, self._networks.devices)

    def _report(self, on_site: frozenset[str]) -> SourceReport:
        count = len(self._told)
        if count:
            dated = sum(self._told.values())
            detail = f"{count} addresses of the site, {dated} of them reachable"
        elif on_site:
            detail = f"it names nobody of the site on {', '.join(sorted(on_site))}. {_SILENT}"
        else:
            detail = "no interface of this host is in the device networks, so that it cannot name any device of them"
        if self._over:
            detail += f"; {self._over} changes over the limits were left out"
        return SourceReport(source=_SOURCE, state="heard" if count else "silent", detail=detail, heard_count=count)


class _Netlink:
    """What is used of the library."""

    def __init__(self) -> None:
        library = importlib.import_module("pyroute2")
        rtnl = importlib.import_module("pyroute2.netlink.rtnl")
        self.open: Callable[[], Any] = library.AsyncIPRoute
        self.group: int = rtnl.RTMGRP_NEIGH
        self.errors: type[Exception] = library.NetlinkError
        self.interrupted: type[Exception] = library.NetlinkDumpInterrupted


def _library() -> _Netlink:
    return _Netlink()


def _failed(detail: str) -> SourceReport:
    return SourceReport(source=_SOURCE, state="failed", detail=detail)


_SOURCE = "neighbour table"
_TURN_OFF = "set neighbours = false in site.toml under [discovery]"
_SILENT = (
    "It fills as this host talks with devices; sweep = true in site.toml under [discovery] makes it ask for every"
    " address"
)
