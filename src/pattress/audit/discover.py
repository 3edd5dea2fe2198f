"""Looking without judging: which devices are there, and what does this one say of itself?"""

from dataclasses import dataclass
from pathlib import Path

from pattress.audit.kept import kept_sightings
from pattress.audit.session import Clock, open_session, planned_sightings
from pattress.identity import Merged
from pattress.model.device import Conflict, Device
from pattress.model.errors import UsageError
from pattress.model.reading import Reading
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.placing import Placing
from pattress.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A device with the point, or the other entry of the plan, that explains it."""

    device: Device
    point: str | None
    other: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovered:
    """What discovery saw."""

    devices: tuple[Placed, ...]
    conflicts: tuple[Conflict, ...]
    sources: tuple[SourceReport, ...]


async def discover_devices(site: Site, *, clock: Clock, listen_s: float | None = None) -> Discovered:
    """Listen for a time and return every device that was announced, with the evidence. Asks no device anything."""
    async with open_session(site, clock) as session:
        sources = await session.listen(site.limits.listen_s if listen_s is None else listen_s)
        merged = session.merged()
    placing = Placing(site.plan)
    placed = [_placed(placing, device) for device in merged.devices]
    return Discovered(devices=tuple(placed), conflicts=merged.conflicts, sources=sources)


async def read_device(
    site: Site, words: str, *, store_file: Path, clock: Clock, listen_s: float | None = None
) -> tuple[Reading, str | None]:
    """Read one device now; return the reading and the name of its point.

    `words` name a point, or are the device's MAC, serial, announced name or address.

    Raises:
        UsageError: If nothing of that name is known, planned or announced.
    """
    now = clock()
    async with open_session(site, clock) as session:
        for sighting in planned_sightings(site.plan, now):
            session.add(sighting)
        if store_file.exists():  # noqa: ASYNC240 - one look at a local file, before anything waits
            async with Store.open(store_file, read_only=True) as store:
                for sighting in kept_sightings(await store.known_devices()):
                    session.add(sighting)
        window_s = site.limits.listen_s if listen_s is None else listen_s

        def is_found(merged: Merged) -> bool:
            device = named(site, merged.devices, words)
            return device is not None and device.is_announced

        await session.listen(window_s, until=is_found)
        device = named(site, session.merged().devices, words)
        if device is None:
            raise UsageError(
                f"no device {words!r} is announced, kept or bound to a point of that name",
                where="pattress read",
                next_step="Run `pattress discover` to see what is there.",
            )
        point = Placing(site.plan).point_of(device)
        return await session.read(device, point), point.name if point else None


def named(site: Site, devices: tuple[Device, ...], words: str) -> Device | None:
    """Return the device that a person means: by point, id, MAC, serial, announced name or address."""
    if any(point.name == words for point in site.plan.points):
        return Placing(site.plan).at_points(devices).get(words)
    return next((device for device in devices if _is_meant(device, words)), None)


def _is_meant(device: Device, words: str) -> bool:
    names = {device.id, device.mac, device.serial, device.name, *(address for address, _ in device.addresses)}
    return words in names or words.lower() == device.mac


def _placed(placing: Placing, device: Device) -> Placed:
    point, other = placing.point_of(device), placing.other_of(device)
    return Placed(device=device, point=point.name if point else None, other=other.name if other else None)
