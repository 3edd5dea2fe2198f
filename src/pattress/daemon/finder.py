"""Where devices are while the way to the outside is watched: the neighbour tables and leases as they change.

What belongs here: keeping the newest sightings, within a bound. What does not: asking devices anything.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Iterable

from pattress.audit.kept import kept_sightings
from pattress.audit.session import Clock, planned_sightings
from pattress.discovery import Source
from pattress.discovery.leases import LeaseSource
from pattress.discovery.neighbours import NeighbourSource
from pattress.egress.pausing import pause
from pattress.egress.whereabouts import Whereabouts
from pattress.identity import merge
from pattress.model.device import Sighting
from pattress.model.errors import StoreError
from pattress.model.site import Site
from pattress.store.store import Store
from pattress.wire.reach import reach_of

MAX_SIGHTINGS = 8_192  # by source and address; about 1 kB each, so 8 MB. The oldest make room
# A source tells once in its life of each address and who is there. So often it begins anew: an address that goes back
# to whom it belonged to before is noticed then, and a source that had failed is tried again.
LOOK_ANEW_S = 300.0


class Finder:
    """Keeps the newest sighting of each address by each source: who had it before has it no more."""

    def __init__(self, site: Site, clock: Clock) -> None:
        self._site = site
        self._clock = clock
        self._reach = reach_of(site.networks.devices)
        self._sightings: OrderedDict[tuple[str, str | None], Sighting] = OrderedDict()

    def add(self, sighting: Sighting) -> None:
        """Take in one piece of evidence."""
        key = (sighting.source, sighting.address)
        self._sightings.pop(key, None)
        self._sightings[key] = sighting
        if len(self._sightings) > MAX_SIGHTINGS:
            self._sightings.popitem(last=False)

    async def look(self, stop: asyncio.Event) -> None:
        """Take in what the neighbour tables and lease files tell, until `stop` is set."""
        while sources := self._sources():
            is_over = asyncio.Event()
            async with asyncio.TaskGroup() as group:
                for source in sources:
                    group.create_task(source.listen(self.add, is_over), name=f"whereabouts by {type(source).__name__}")
                goes_on = await pause(stop, LOOK_ANEW_S)
                is_over.set()
            if not goes_on:
                return

    def _sources(self) -> list[Source]:
        discovery = self._site.discovery
        sources: list[Source] = []
        if discovery.neighbours:
            sources.append(NeighbourSource(self._site.networks, self._clock))
        if discovery.lease_files:
            sources.append(LeaseSource(discovery.lease_files, self._site.networks, self._clock))
        return sources

    async def whereabouts(self, store: Store) -> Whereabouts:
        """Return where devices are by all that is known now: live, kept by audits, and planned."""
        try:
            known = await store.known_devices()
        except StoreError:
            known = []  # a database that cannot be read now stops nobody from watching
        past = [*kept_sightings(known), *planned_sightings(self._site.plan, self._clock())]
        return self.of([*self._sightings.values(), *past])

    def planned(self) -> Whereabouts:
        """Return where devices are by the plan alone."""
        return self.of(planned_sightings(self._site.plan, self._clock()))

    def of(self, sightings: Iterable[Sighting]) -> Whereabouts:
        """Return where devices are by these sightings."""
        own = [address for address in self._reach.own if self._reach.is_own(str(address))]
        return Whereabouts(self._site.plan, merge(list(sightings)).devices, own)
