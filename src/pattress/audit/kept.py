"""What the store knows, in terms of the site: which device stands at which point, and what it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pattress.model.device import Sighting
from pattress.model.errors import UsageError
from pattress.model.kept import KnownDevice, PointSpan
from pattress.model.site import Site
from pattress.model.vocabulary import definition_of, nearest_name
from pattress.placing import Placing
from pattress.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownAtPoint:
    """A device that was seen, and the name of its point, or of the plan's other entry."""

    device: KnownDevice
    point: str | None


def kept_sightings(devices: list[KnownDevice]) -> list[Sighting]:
    """Return what the store knows of devices as sightings of the past."""
    return [
        Sighting(
            source="kept",
            seen_at=device.last_seen,
            name=device.name,
            address=device.address,
            port=device.port,
            mac=device.mac,
            serial=device.serial,
            kind=device.kind,
        )
        for device in devices
    ]


async def known_devices(site: Site, store_file: Path) -> list[KnownAtPoint]:
    """Return every device that was ever seen, by point and then by id."""
    async with Store.open(_existing(store_file), read_only=True) as store:
        known = await store.known_devices()
    placing = Placing(site.plan)
    placed = [KnownAtPoint(device=device, point=_place(placing, device)) for device in known]
    return sorted(placed, key=lambda one: (one.point is None, one.point or "", one.device.id))


async def device_history(
    site: Site, store_file: Path, words: str, setting: str | None, at: datetime | None = None, *, where: str
) -> tuple[KnownAtPoint, list[PointSpan]]:
    """Return the device that `words` name, and what its settings were; with `at`, what they were at that moment.

    Where `words` are a point at which devices were found, it is the point's history, which goes on when its module is
    replaced; the device is then the last that stood there.

    Raises:
        UsageError: If the device or the setting is not known, with `where` it was asked for.
    """
    if setting is not None and definition_of(setting) is None:
        near = nearest_name(setting)
        raise UsageError(
            f"there is no setting {setting!r}",
            where=where,
            next_step=f"Did you mean {near}?" if near else "Run `pattress settings` to see all names.",
        )
    known = await known_devices(site, store_file)
    async with Store.open(store_file, read_only=True) as store:
        placed = [one.device for one in await store.placements() if one.point == words]
        if placed:
            last = next((one for one in known if one.device.id == placed[-1]), None)
            if last is not None:
                found = KnownAtPoint(device=last.device, point=words)
                return found, await store.history_of_point(words, setting, at)
        found = find_known(known, words, where=where)
        device = found.device.id
        spans = await store.history(device, setting, at)
    return found, [
        PointSpan(device=device, setting=one.setting, value=one.value, since=one.since, until=one.until)
        for one in spans
    ]


def find_known(known: Sequence[KnownAtPoint], words: str, *, where: str) -> KnownAtPoint:
    """Return the device that `words` name: by point, id, MAC, serial, announced name or address.

    Raises:
        UsageError: If none is, with `where` it was asked for.
    """
    found = next((one for one in known if _is_meant(one, words)), None)
    if found is None:
        raise UsageError(
            f"no device {words!r} was ever seen", where=where, next_step="Run `pattress devices` to see which were."
        )
    return found


def _existing(store_file: Path) -> Path:
    if not store_file.exists():
        raise UsageError(
            "there is no database yet", where=str(store_file), next_step="Run `pattress audit` first; it makes one."
        )
    return store_file


def _place(placing: Placing, device: KnownDevice) -> str | None:
    place = placing.point_of(device) or placing.other_of(device)
    return None if place is None else place.name


def _is_meant(one: KnownAtPoint, words: str) -> bool:
    device = one.device
    return words in (one.point, device.id, device.mac, device.serial, device.name, device.address) or (
        words.lower() == device.mac
    )
