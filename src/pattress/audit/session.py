"""A session with a site's network: links open, sources listening, devices read as they appear.

What belongs here: gathering sightings and readings until a window closes. What does not: judging them.
"""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from pattress.discovery import Source
from pattress.discovery.interfaces import chosen_interfaces
from pattress.discovery.leases import LeaseSource
from pattress.discovery.mdns import MdnsSource
from pattress.discovery.mqtt import MqttSource
from pattress.discovery.neighbours import NeighbourSource
from pattress.discovery.sweep import SweepSource
from pattress.identity import Merged, merge
from pattress.model.device import Device, Sighting
from pattress.model.plan import Plan, Point
from pattress.model.profile import HttpGet, JsonRpc
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.placing import Placing
from pattress.reading.http import HttpLink
from pattress.reading.reader import Reader, sighting_of
from pattress.reading.target import Target, target_of
from pattress.wire.mqtt import MqttLink
from pattress.wire.reach import Reach, reach_of

Clock = Callable[[], datetime]

SETTLE_S = 0.1  # sightings come in bursts; they are merged at most ten times a second
MAX_SIGHTINGS = 50_000  # about 1 kB each, so 50 MiB; a house of 200 modules makes about 2,000
MAX_UNPLANNED_READS = 300  # devices in no plan that are asked at all; planned ones always are


class Progress(Protocol):
    """Told as devices are read."""

    def __call__(self, done: int, total: int) -> None:
        """Take note: so many devices are done, of so many so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What a session gathered. `readings` are by the id of the device in `merged`."""

    merged: Merged
    readings: dict[str, Reading]
    sources: tuple[SourceReport, ...]


class Session:
    """Listens and reads. Made by `open_session`."""

    def __init__(
        self,
        site: Site,
        reach: Reach,
        links: Sequence[MqttLink],
        reader: Reader,
        clock: Clock,
        progress: Progress | None,
    ) -> None:
        self._site = site
        self._placing = Placing(site.plan)
        self._reach = reach
        self._links = links
        self._reader = reader
        self._clock = clock
        self._progress = progress
        self._sightings: list[Sighting] = []
        self._dropped = 0
        self._news = asyncio.Event()
        self._attempts: dict[str, _Attempt] = {}
        self._unplanned_reads = 0

    def add(self, sighting: Sighting) -> None:
        """Take in one piece of evidence. What is more than `MAX_SIGHTINGS` is counted and dropped.

        What this host announces of itself is left out: it is no device of the site.
        """
        if self._reach.is_own(sighting.address):
            return
        if len(self._sightings) >= MAX_SIGHTINGS:
            self._dropped += 1
            return
        self._sightings.append(sighting)
        self._news.set()

    def merged(self) -> Merged:
        """Return the devices that the evidence makes so far."""
        return merge(self._sightings)

    async def listen(
        self, seconds: float, *, until: Callable[[Merged], bool] | None = None
    ) -> tuple[SourceReport, ...]:
        """Listen on every source for a time, or until what was gathered is enough. Reads nothing."""
        async with self._listening() as (stop, reports):
            try:
                async with asyncio.timeout(seconds):
                    while until is None or not until(self.merged()):
                        await self._next_news()
            except TimeoutError:
                pass
            stop.set()
        return tuple(reports)

    async def gather(self, seconds: float) -> Gathered:
        """Listen for a time, read every device as soon as it is known, and return all of it.

        Known devices are read while discovery still listens, so this ends with the window or with the slowest
        device, whichever is later.
        """
        async with asyncio.TaskGroup() as reads:
            async with self._listening() as (stop, reports):
                try:
                    async with asyncio.timeout(seconds):
                        while True:
                            self._start_reads(reads)
                            await self._next_news()
                except TimeoutError:
                    pass
                stop.set()
            await self._finish_reads(reads)
        if self._dropped:
            detail = f"{self._dropped} sightings were too many and were dropped"
            reports.append(SourceReport(source="discovery", state="failed", detail=detail, is_needed=True))
        merged = self.merged()
        return Gathered(merged=merged, readings=self._readings(merged), sources=tuple(reports))

    async def read(self, device: Device, point: Point | None) -> Reading:
        """Read one device."""
        target = target_of(self._site, device, point)
        if target is None:
            return self._unreadable(device, "no profile knows this kind of device")
        return await self._reader.read(target)

    @asynccontextmanager
    async def _listening(self) -> AsyncIterator[tuple[asyncio.Event, list[SourceReport]]]:
        stop = asyncio.Event()
        reports: list[SourceReport] = []

        async def listen(source: Source) -> None:
            reports.extend(await source.listen(self.add, stop))

        async with asyncio.TaskGroup() as group:
            for source in self._sources():
                group.create_task(listen(source), name=f"listen {type(source).__name__}")
            try:
                yield stop, reports
            finally:
                stop.set()
        reports.sort(key=lambda report: report.source)

    def _sources(self) -> Iterable[Source]:
        site = self._site
        planned = [profile for point in site.plan.points if (profile := site.profile(point.kind)) is not None]
        if site.uses_mdns:
            needed = any(profile.recognise_mdns for profile in planned)
            yield MdnsSource(site.profiles, chosen_interfaces(site.networks), self._clock, needed=needed)
        needed_kinds = frozenset(profile.id for profile in planned if profile.recognise_mqtt)
        for link in self._links:
            yield MqttSource(link, site.profiles, needed_kinds=needed_kinds, clock=self._clock)
        discovery = site.discovery
        if discovery.neighbours:
            yield NeighbourSource(site.networks, self._clock)
        if discovery.lease_files:
            yield LeaseSource(discovery.lease_files, site.networks, self._clock)
        if discovery.sweeps:
            yield SweepSource(site.networks, discovery.sweep_per_s)

    async def _next_news(self) -> None:
        await self._news.wait()
        await asyncio.sleep(SETTLE_S)
        self._news.clear()

    def _start_reads(self, group: asyncio.TaskGroup) -> None:
        """Begin to read each device that can be read and has not been, or could not be at its earlier addresses."""
        for device in self.merged().devices:
            point = self._placing.point_of(device)
            target = target_of(self._site, device, point)
            if target is None or not _can_be_asked(target):
                continue
            if point is None and (not device.is_announced or self._unplanned_reads >= MAX_UNPLANNED_READS):
                continue
            earlier = self._attempts.get(device.id)
            if earlier is not None and not earlier.is_outdated_by(target):
                continue
            self._unplanned_reads += point is None
            attempt = self._attempts[device.id] = _Attempt(target)
            group.create_task(self._attempt(attempt), name=f"read {device.id}")
        self._report_progress()

    async def _attempt(self, attempt: "_Attempt") -> None:
        reading = await self._reader.read(attempt.target)
        attempt.reading = reading
        if isinstance(reading, Snapshot):
            self.add(sighting_of(reading, attempt.target))
        self._report_progress()
        self._news.set()

    async def _finish_reads(self, group: asyncio.TaskGroup) -> None:
        """Wait for the reads that run; what they taught may make another one possible, but not for ever."""
        for _ in range(3):
            self._start_reads(group)
            while any(attempt.reading is None for attempt in self._attempts.values()):
                self._news.clear()
                await self._news.wait()

    def _report_progress(self) -> None:
        if self._progress is not None:
            done = sum(attempt.reading is not None for attempt in self._attempts.values())
            self._progress(done, len(self._attempts))

    def _readings(self, merged: Merged) -> dict[str, Reading]:
        """Return the readings by the device that was found to have given them; those of contested devices fall out."""
        devices = {device.id for device in merged.devices}
        readings: dict[str, Reading] = {}
        for attempt in self._attempts.values():
            reading = attempt.reading
            owner = _owner(reading, devices)
            if reading is None or owner is None:
                continue
            earlier = readings.get(owner)
            if earlier is None or _is_better(reading, earlier):
                readings[owner] = replace(reading, device=owner)
        for device in merged.devices:
            is_unknown = device.is_announced and device.kind is None and device.id not in readings
            if is_unknown and self._placing.point_of(device) is not None:
                readings[device.id] = self._unreadable(device, "no profile knows what it announces")
        return readings

    def _unreadable(self, device: Device, reason: str) -> Unreadable:
        return Unreadable(device=device.id, kind=device.kind, taken_at=self._clock(), reason=reason)


@asynccontextmanager
async def open_session(site: Site, clock: Clock, progress: Progress | None = None) -> AsyncIterator[Session]:
    """Open the links to a site's network and close them on every path."""
    limits = site.limits
    async with AsyncExitStack() as stack:
        reach = reach_of(site.networks.devices)
        http = await stack.enter_async_context(HttpLink(reach, answer_s=limits.answer_s, ca_file=site.device_ca_file))
        links = [await stack.enter_async_context(MqttLink(broker)) for broker in site.brokers]
        reader = Reader(http, {link.broker.name: link for link in links}, limits, clock)
        yield Session(site, reach, links, reader, clock, progress)


def planned_sightings(plan: Plan, now: datetime) -> list[Sighting]:
    """Return what the plan itself says of where its devices are: a hint, never a proof that they exist."""
    return [
        Sighting(
            source="point",
            seen_at=now,
            name=point.announced,
            address=point.address,
            mac=point.mac,
            serial=point.serial,
            kind=point.kind,
        )
        for point in plan.points
        if point.is_bound and point.address is not None
    ]


class _Attempt:
    """One reading of one device, running or done."""

    def __init__(self, target: Target) -> None:
        self.target = target
        self.reading: Reading | None = None

    def is_outdated_by(self, target: Target) -> bool:
        """Whether another attempt can give more: the device is planned after all, or elsewhere than it was asked."""
        if self.reading is None:
            return False
        if target.is_planned and not self.target.is_planned:
            return True
        return isinstance(self.reading, Unreadable) and not set(target.addresses) <= set(self.target.addresses)


def _can_be_asked(target: Target) -> bool:
    """Whether at least one document has a way to it: an address for HTTP, the broker for MQTT."""
    needs_address = [isinstance(document.request, HttpGet | JsonRpc) for document in target.profile.documents]
    return bool(target.addresses) or not all(needs_address)


def _owner(reading: Reading | None, devices: set[str]) -> str | None:
    if isinstance(reading, Snapshot):
        for key in ("mac", "serial"):
            reported = reading.values.get(key)
            if reported is not None and f"{key}:{reported.value}" in devices:
                return f"{key}:{reported.value}"
    return reading.device if reading is not None and reading.device in devices else None


def _is_better(reading: Reading, earlier: Reading) -> bool:
    if isinstance(reading, Snapshot) and isinstance(earlier, Snapshot):
        return len(reading.values) > len(earlier.values)
    return isinstance(reading, Snapshot) or not isinstance(earlier, Snapshot)
