"""Discovery by multicast DNS: one listener on each interface.

What belongs here: the library's records, and the tasks that ask and take in. What does not: its sockets (`opening`),
what the records mean (`services`), what a question looks like (`questions`), and what is told (`sightings`).

Of the library (zeroconf) the sockets, the parser of packets and the bounded cache are used. Its browser and its
resolver are not: they raise on names that a stranger may choose, and cannot ask for a name that holds a dot.
"""

import asyncio
import math
import random
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from datetime import datetime
from functools import partial
from typing import Any, Literal

from zeroconf import RecordUpdate, RecordUpdateListener, Zeroconf

from pattress.discovery import Sink
from pattress.discovery.interfaces import Interface, NoInterfaceError, find_interface
from pattress.discovery.opening import OpenError, opened, quieten_library
from pattress.discovery.questions import CLASS_IN, TYPE_A, TYPE_AAAA, TYPE_PTR, TYPE_SRV, TYPE_TXT, Schedule, packets
from pattress.discovery.services import ServiceTable
from pattress.discovery.sightings import SightingMaker
from pattress.model.profile import Profile
from pattress.model.source import SourceReport

QUESTION_DELAY_S = (0.02, 0.12)  # RFC 6762 section 5.2: so that those who start together do not ask together
MAX_QUESTIONS = 40  # in one round: two packets, at most 50 of them a second while a flood is being resolved
MAX_PENDING = 10_000  # records heard and not yet taken in: 10,000 x 500 bytes = 5 MB, a quarter of a second of work
BATCH = 500  # records taken in before the event loop gets its turn


class MdnsSource:
    """Devices that announce themselves by multicast DNS (RFC 6762) as DNS-SD services (RFC 6763).

    `interfaces` are names or addresses (`chosen_interfaces` finds those of a site); `needed` says whether a planned
    kind is recognised this way.
    """

    def __init__(
        self,
        profiles: Sequence[Profile],
        interfaces: Sequence[str],
        clock: Callable[[], datetime],
        *,
        needed: bool = False,
    ) -> None:
        self._profiles = tuple(profiles)
        self._interfaces = tuple(interfaces)
        self._clock = clock
        self._is_needed = needed

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Hand each sighting to `sink` until `stop` is set. Returns one report for each interface."""
        quieten_library()
        if not self._interfaces:
            return [self._failed("mDNS", _NO_INTERFACE)]
        reports: dict[int, SourceReport] = {}
        async with AsyncExitStack() as stack:
            listeners: dict[int, _Listener] = {}
            # All are opened before the first asks: an answer must not find an interface half open.
            for position, wanted in enumerate(self._interfaces):
                try:
                    interface = find_interface(wanted)
                    zeroconf = await stack.enter_async_context(opened(interface))
                except (NoInterfaceError, OpenError) as error:
                    reports[position] = self._failed(f"mDNS on {wanted}", str(error))
                else:
                    listeners[position] = _Listener(zeroconf, interface, self._profiles, self._clock, sink)
            async with asyncio.TaskGroup() as group:
                for listener in listeners.values():
                    group.create_task(listener.run(stop), name=f"mDNS on {listener.interface.name}")
            reports |= {position: listener.report(self._is_needed) for position, listener in listeners.items()}
        return [reports[position] for position in sorted(reports)]

    def _failed(self, source: str, detail: str) -> SourceReport:
        return SourceReport(source=source, state="failed", detail=detail, is_needed=self._is_needed)


class _Listener(RecordUpdateListener):
    """Asks and takes in on one interface."""

    def __init__(
        self,
        zeroconf: Zeroconf,
        interface: Interface,
        profiles: Sequence[Profile],
        clock: Callable[[], datetime],
        sink: Sink,
    ) -> None:
        self.interface = interface
        self._zeroconf = zeroconf
        self._sink = sink
        self._loop = asyncio.get_running_loop()
        self._made = SightingMaker(interface.name, profiles, clock)
        named_types = {one.service_type for profile in profiles for one in profile.recognise_mdns}
        self._table = ServiceTable(interface.name, named_types, self._made)
        self._schedule = Schedule()
        self._pending: deque[_Fact] = deque()
        self._overrun = 0
        self._has_heard = asyncio.Event()
        self._has_questions = asyncio.Event()

    async def run(self, stop: asyncio.Event) -> None:
        """Ask and take in until `stop` is set; then tell of what was left unresolved."""
        self._zeroconf.async_add_listener(self, None)
        async with asyncio.TaskGroup() as group:
            name = self.interface.name
            tasks = [
                group.create_task(self._ask(), name=f"mDNS questions on {name}"),
                group.create_task(self._take_in(), name=f"mDNS answers on {name}"),
            ]
            await stop.wait()
            for task in tasks:
                task.cancel()
        self._zeroconf.async_remove_listener(self)
        while self._pending:
            self._take_batch()
        self._let_pass(math.inf)

    def report(self, is_needed: bool) -> SourceReport:
        """Return how it fared."""
        dropped = self._overrun + self._table.dropped + self._made.dropped
        note = f"; {dropped} announcements over the limits were left out" if dropped else ""
        state: Literal["heard", "silent", "failed"]
        if not _is_unchanged(self.interface):
            state, detail = "failed", _CHANGED.format(name=self.interface.name, count=self._made.count)
        elif self._made.count:
            state, detail = "heard", f"{self._made.count} sightings over {self.interface.families}"
        else:
            state, detail = "silent", f"nothing was heard over {self.interface.families}. {_SILENT}"
        return SourceReport(
            source=f"mDNS on {self.interface.name}",
            state=state,
            detail=detail + note,
            heard_count=self._made.count,
            is_needed=is_needed,
        )

    def async_update_records(self, zc: Zeroconf, now: float, records: list[RecordUpdate]) -> None:
        """Note what the library has heard. It is taken in by a task of ours, where a fault cannot stop the library."""
        for update in records:
            fact = self._fact(update.new, is_expired=update.new.is_expired(now))
            if fact is None:
                continue
            if len(self._pending) >= MAX_PENDING:
                self._overrun += 1
                continue
            self._pending.append(fact)
        self._has_heard.set()

    async def _ask(self) -> None:
        while True:
            await asyncio.sleep(random.uniform(*QUESTION_DELAY_S))  # noqa: S311
            self._has_questions.clear()
            at_s = self._loop.time()
            due = self._schedule.due(self._table.wanted, at_s=at_s, at_most=MAX_QUESTIONS)
            for packet in packets(due, self._table.known_answers(at_s)):
                self._zeroconf.async_send(_Query(packet))  # type: ignore[arg-type]
            await _wait(self._has_questions, until_s=self._schedule.next_s(self._table.wanted))

    async def _take_in(self) -> None:
        while True:
            await _wait(self._has_heard, until_s=self._table.next_s)
            self._has_heard.clear()
            self._take_batch()
            self._let_pass(self._loop.time())
            if self._pending:
                self._has_heard.set()
                await asyncio.sleep(0)

    def _take_batch(self) -> None:
        batch = [self._pending.popleft() for _ in range(min(BATCH, len(self._pending)))]
        # A packet may hold an address before the service that it belongs to.
        for _, take in sorted(batch, key=lambda fact: fact[0]):
            take()
        while questions := self._table.take_new_questions():
            self._has_questions.set()
            for question in questions:
                for record in self._zeroconf.cache.get_all_by_details(question.name, question.type, CLASS_IN):
                    if (fact := self._fact(record, is_expired=False)) is not None:
                        fact[1]()
        self._tell()

    def _let_pass(self, at_s: float) -> None:
        self._table.pass_time(at_s)
        self._tell()

    def _tell(self) -> None:
        self._table.tell()
        for sighting in self._made.take():
            self._sink(sighting)

    def _fact(self, record: Any, *, is_expired: bool) -> "_Fact | None":
        """Return what to do about a record of the library, with its rank in a packet; None where it says nothing."""
        at_s = self._loop.time()
        if record.type == TYPE_PTR:
            if is_expired and record.ttl > 0:
                return 0, partial(self._table.expired, record.alias)
            return 0, partial(self._table.pointer, record.name, record.alias, ttl_s=record.ttl, at_s=at_s)
        if is_expired:
            return None
        if record.type == TYPE_SRV:
            return 1, partial(self._table.service, record.name, record.server, record.port)
        if record.type == TYPE_TXT:
            return 1, partial(self._table.text, record.name, record.text)
        if record.type in (TYPE_A, TYPE_AAAA):
            address = partial(self._table.address, record.name, record.address, at_s=at_s, replaces=record.unique)
            return 2, address
        return None


_Fact = tuple[int, Callable[[], None]]
_NO_INTERFACE = (
    "no interface of this host has an address in the site's device networks. Give it one, or name the interface in"
    " site.toml under [networks] interfaces"
)
_SILENT = (
    "If modules should be there, see whether they are powered, whether this is their network, and whether switch and"
    " access point let multicast through"
)
_CHANGED = "the interface {name} changed while it was listened on, after {count} sightings. Run it again"


class _Query:
    """A packet of ours in the shape that the library sends."""

    def __init__(self, packet: bytes) -> None:
        self._packet = packet

    def packets(self) -> list[bytes]:
        return [self._packet]


def _is_unchanged(interface: Interface) -> bool:
    """Whether the interface is still the one that was opened: a socket hears nothing of one that was made anew."""
    try:
        now = find_interface(interface.name)
    except NoInterfaceError:
        return False
    return now.index == interface.index


async def _wait(event: asyncio.Event, *, until_s: float) -> None:
    """Wait for an event, but no longer than until a time of the event loop's clock."""
    try:
        async with asyncio.timeout_at(None if until_s == math.inf else until_s):
            await event.wait()
    except TimeoutError:
        pass
