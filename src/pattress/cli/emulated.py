"""The emulated house with its way to the outside watched, for the demo and the tests.

What belongs here: the day before, which the house is said to have had, and the watch over what goes on now. What does
not: the house (`lab`), the watch.

A record of a day cannot be made within seconds. That of the emulated house is invented as the house is: the router's
messages of a day on which nothing was wrong, put through the decoder and the desk by the times of that day. What goes
wrong now comes as real datagrams by UDP.
"""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from datetime import datetime, timedelta

from pattress.audit.session import Clock
from pattress.daemon.desk import Desk, added_up
from pattress.daemon.finder import Finder
from pattress.daemon.watch import TELL_S, Teller, Watch
from pattress.egress.pausing import pause
from pattress.egress.whereabouts import Owner
from pattress.lab.exporter import Exporter
from pattress.lab.flow_messages import FlowEncoder
from pattress.lab.run import EmulatedHouse
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Alert, Told
from pattress.model.site import Site
from pattress.model.watching import WatchSource
from pattress.store.store import Store

DAY_BEFORE = timedelta(days=1)
STEP = timedelta(minutes=1)  # the longest that still counts as listened to
FLOWS_EVERY = 15  # steps
EXPORT_S = 1.0
TOLD_WITHIN_S = 3 * TELL_S + EXPORT_S
PAST_PORT = 4_000  # of the exporter of the past day: another process than that of now


@asynccontextmanager
async def watched(house: EmulatedHouse, site: Site, store: Store, teller: Teller, clock: Clock) -> AsyncIterator[None]:
    """Watch the house for the block, which begins once what goes out of it has been told, or had its time to be.

    The site must be one that `write_site` wrote as watched. Where the store has no hearing of its sources yet, the day
    before is put there first.
    """
    now = clock()
    if not await store.hearings(since=now - DAY_BEFORE):
        await keep_day_before(house, site, store, now)
    telling = _Telling(teller, {module.title for module in house.modules.values() if house.state(module.title).way_out})
    stop = asyncio.Event()
    async with asyncio.TaskGroup() as group:
        group.create_task(Watch(site, store, telling, clock).run(stop), name="watch the emulated house")
        group.create_task(_export(house, clock, stop), name="emulated router")
        try:
            await telling.told_all(TOLD_WITHIN_S)
            yield
        finally:
            stop.set()


async def keep_day_before(house: EmulatedHouse, site: Site, store: Store, until: datetime) -> None:
    """Put a day without faults into the store, as the desk would have had it of the router of the house.

    Where flow export cannot be decoded (no NumPy), nothing is put there, and an audit says what is missing.
    """
    try:
        from pattress.egress.flows.decoder import FlowDecoder
        from pattress.egress.flows.evidence import FlowEvidence
        from pattress.egress.space_bulk import BulkSpace
    except ImportError:
        return
    sources: dict[IPAddress, WatchSource] = {
        sender: source for source in site.watching.sources for sender in source.senders
    }
    at = until - DAY_BEFORE
    desk = Desk(site, Finder(site, lambda: at).planned())
    flows = FlowEvidence(sources, desk.tallies, FlowDecoder(), BulkSpace(desk.space))
    encoder = FlowEncoder(started_at=at)
    taken = desk.take(at)
    step = 0
    while at < until:
        if step % FLOWS_EVERY == 0:
            messages = encoder.messages(house.healthy_flows(at - FLOWS_EVERY * STEP, at), at)
            for _, traffic, calls in flows.of([(house.ground.house_server, PAST_PORT, one) for one in messages], at):
                for one in traffic:
                    desk.evidence(one)
                desk.calls(calls, at)
            await asyncio.sleep(0)
        step, at = step + 1, min(at + STEP, until)
        taken = added_up(taken, desk.take(at))
    await store.keep_encounters(taken.encounters, taken.hearings, taken.company, told=taken.told)


async def _export(house: EmulatedHouse, clock: Clock, stop: asyncio.Event) -> None:
    """Export what goes on, again and again; templates each time, for the listener may begin at any moment."""
    began_at = clock()
    with Exporter(house.ground.house_server, house.collector, started_at=began_at) as exporter:
        while True:
            at = clock()
            exporter.export(house.flows(began_at, at), at, templates="always")
            began_at = at
            if not await pause(stop, EXPORT_S):
                return


class _Telling:
    """Hands on what is told, and knows when all of some points were told of."""

    def __init__(self, teller: Teller, points: set[str]) -> None:
        self._teller = teller
        self._untold = points
        self._is_told = asyncio.Event()
        if not points:
            self._is_told.set()

    async def told_all(self, seconds: float) -> None:
        """Wait until all of the points were told of, but no longer than so many seconds."""
        try:
            async with asyncio.timeout(seconds):
                await self._is_told.wait()
        except TimeoutError:
            self._teller.note(f"the way outside of {', '.join(sorted(self._untold))} was not told within {seconds:g} s")

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        self._teller.alert(alert, owner, says_off=says_off)
        self._untold.discard(owner.point or "")
        if not self._untold:
            self._is_told.set()

    def daily(self, due: Sequence[tuple[Told, Owner]]) -> None:
        self._teller.daily(due)

    def note(self, text: str) -> None:
        self._teller.note(text)
