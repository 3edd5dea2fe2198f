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
    if words is not None:
        device = _device_of(known, words, {one.device for one in encounters})
        encounters = [one for one in encounters if one.device == device]
    return Recorded(encounters=encounters, hearings=hearings, title_of=title_of(site, [one.device for one in known]))


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


def _device_of(known: Sequence[KnownAtPoint], words: str, encountered: set[str]) -> str:
    """Return the id of a device, which may be nobody's address that only encounters know."""
    for candidate in (words, f"address:{words}"):
        if candidate in encountered:
            return candidate
    try:
        return find_known(known, words, where="pattress encounters").device.id
    except UsageError as error:
        raise UsageError(
            error.what, where=error.where, next_step="Run `pattress encounters` to see all, or `pattress devices`."
        ) from error
