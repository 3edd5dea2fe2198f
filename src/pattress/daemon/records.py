"""What is on record of encounters, in terms of the site.

What belongs here: asking the store, and what to call devices. What does not: watching.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pattress.audit.kept import KnownAtPoint, find_known, kept_sightings, known_devices
from pattress.egress.whereabouts import Whereabouts
from pattress.identity import merge
from pattress.model.device import Sighting
from pattress.model.encounter import Encounter, Hearing
from pattress.model.errors import UsageError
from pattress.model.kept import KnownDevice
from pattress.model.site import Site
from pattress.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """Encounters in time order, how sources were heard meanwhile, and what to call a device by its id."""

    encounters: Sequence[Encounter]
    hearings: Sequence[Hearing]
    title_of: Callable[[str], str]


async def recorded(site: Site, store_file: Path, since: datetime, words: str | None) -> Recorded:
    """Return what is on record since a moment; with `words`, of the one device that they name.

    Raises:
        UsageError: If there is no database, or no such device.
    """
    known = await known_devices(site, store_file)
    async with Store.open(store_file, read_only=True) as store:
        encounters = await store.encounters(since=since)
        hearings = await store.hearings(since=since)
    called = title_of(site, [one.device for one in known])
    if words is not None:
        devices = {one.device for one in encounters if _is_meant(one.device, called(one.device), words)}
        devices = devices or {_device_of(known, words)}
        encounters = [one for one in encounters if one.device in devices]
    return Recorded(encounters=encounters, hearings=hearings, title_of=called)


def title_of(site: Site, known: Sequence[KnownDevice]) -> Callable[[str], str]:
    """Return what to call devices by their ids, be they only planned so far."""
    now = datetime.now(UTC)
    planned = [
        Sighting(source="point", seen_at=now, mac=point.mac, serial=point.serial, name=point.announced, kind=point.kind)
        for point in site.plan.points
        if point.is_bound
    ]
    whereabouts = Whereabouts(site.plan, merge([*kept_sightings(list(known)), *planned]).devices)
    return lambda device: whereabouts.called(device).title


def _is_meant(device: str, title: str, words: str) -> bool:
    """Whether words name a device of which there are encounters, be it one that no audit has ever seen."""
    kinds = ("mac", "serial", "name", "address")
    return words in (device, title) or device in {f"{kind}:{one}" for kind in kinds for one in (words, words.lower())}


def _device_of(known: Sequence[KnownAtPoint], words: str) -> str:
    try:
        return find_known(known, words, where="pattress encounters").device.id
    except UsageError as error:
        raise UsageError(
            error.what, where=error.where, next_step="Run `pattress encounters` to see all, or `pattress devices`."
        ) from error
