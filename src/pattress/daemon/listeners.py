"""The listeners that a site's sources ask for, each wired to the desk.

What belongs here: which listener for which source. What does not: listening itself (`egress`).
"""

import asyncio
import json
from collections import defaultdict
from collections.abc import Callable, Coroutine, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Protocol

from pattress.audit.session import Clock
from pattress.daemon.desk import Call, Desk
from pattress.egress.connections_watch import ConnectionsWatch
from pattress.egress.follow import FileFollower
from pattress.egress.journal import JournalFollower
from pattress.egress.syslog_listener import SyslogListener
from pattress.egress.tail_reader import Place
from pattress.model.addresses import IPAddress
from pattress.model.encounter import KeptTemplate, Traffic
from pattress.model.watching import Watching, WatchSource

NO_NUMPY = "flow export is decoded with NumPy, which is not installed here (it has no wheels for 32-bit ARM)"


class Templates(Protocol):
    """What remembers the templates of flow export."""

    def templates(self) -> list[KeptTemplate]:
        """Return those that are known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listener:
    """One thing to run until it is told to stop."""

    name: str
    work: Coroutine[object, object, None]


class Listeners:
    """Everything that a site listens to. `kept` and `places` are what earlier ones left to be kept."""

    def __init__(
        self,
        watching: Watching,
        desk: Desk,
        clock: Clock,
        kept: Iterable[KeptTemplate] = (),
        places: Mapping[str, str] | None = None,
    ) -> None:
        self._watching = watching
        self._desk = desk
        self._clock = clock
        self._kept = kept
        self._places = dict(places or {})
        self._templates: Templates | None = None
        self._notes: list[Callable[[], str | None]] = []
        self._files: dict[str, FileFollower] = {}
        self._journals: dict[str, JournalFollower] = {}

    def templates(self) -> list[KeptTemplate] | None:
        """Return the templates of flow export that are known, or None where none is listened to."""
        return None if self._templates is None else self._templates.templates()

    def notes(self) -> list[str]:
        """Return what a person should know of the listening itself, once it goes on."""
        return [note for one in self._notes if (note := one()) is not None]

    def places(self) -> dict[str, str]:
        """Return by source how far its log was read."""
        files = {name: place for name, one in self._files.items() if (place := one.place()) is not None}
        journals = {name: cursor for name, one in self._journals.items() if (cursor := one.cursor()) is not None}
        return {name: json.dumps(asdict(place)) for name, place in files.items()} | journals

    def all(self, stop: asyncio.Event) -> Iterator[Listener]:
        """Yield what is to be run."""
        sources, tallies = self._watching.sources, self._desk.tallies
        yield from self._flows([one for one in sources if one.kind == "flows"], stop)
        by_syslog = _by_sender([one for one in sources if one.kind in ("firewall", "names") and one.senders])
        if by_syslog and self._watching.listening.syslog is not None:
            listener = SyslogListener(self._watching.listening.syslog, by_syslog, tallies)
            yield Listener(name="syslog", work=listener.listen(self._message, stop))
        for source in sources:
            if source.file is not None:
                file = self._files[source.name] = FileFollower(
                    source, tallies, _place_of(self._places.get(source.name))
                )
                yield Listener(name=source.name, work=file.listen(self._line, stop))
            elif source.journal is not None:
                journal = JournalFollower(source, tallies, self._places.get(source.name))
                self._journals[source.name] = journal
                yield Listener(name=source.name, work=journal.listen(self._line, stop))
            elif source.kind == "connections":
                yield self._connections(source, stop)

    def _connections(self, source: WatchSource, stop: asyncio.Event) -> Listener:
        watch = ConnectionsWatch(source, self._desk.tallies, self._clock)
        self._notes.append(lambda: watch.note)
        return Listener(name=source.name, work=watch.listen(self._connection, stop))

    def _flows(self, sources: Sequence[WatchSource], stop: asyncio.Event) -> Iterator[Listener]:
        at = self._watching.listening.flows
        if not sources or at is None:
            return
        try:
            from pattress.egress.flows.decoder import FlowDecoder
            from pattress.egress.flows.listener import FlowListener
            from pattress.egress.space_bulk import BulkSpace
        except ImportError:
            for source in sources:
                self._desk.tallies.of(source.name).trouble = NO_NUMPY
            return
        decoder = FlowDecoder(self._kept)
        self._templates = decoder
        by_sender = {sender: source for source in sources for sender in source.senders}
        bulk = BulkSpace(self._desk.space)
        listener = FlowListener(at, by_sender, self._desk.tallies, decoder, bulk, self._clock)
        self._notes.append(lambda: listener.small_buffer)
        yield Listener(name="flow export", work=listener.listen(self._traffic, stop))

    def _traffic(
        self,
        source: WatchSource,
        traffic: Iterable[Traffic],
        calls: Iterable[Call],
    ) -> None:
        for one in traffic:
            self._desk.evidence(one)
        self._desk.calls(calls, self._clock())

    def _message(self, source: WatchSource, data: bytes) -> None:
        self._desk.message(source, data, self._clock())

    def _line(self, source: WatchSource, data: bytes) -> None:
        self._desk.line(source, data.decode("utf-8", "replace"), self._clock())

    def _connection(self, source: WatchSource, traffic: Traffic) -> None:
        self._desk.evidence(traffic)


def _place_of(text: str | None) -> Place | None:
    """Return the place that was kept, None where there is none or its words are those of another version."""
    if text is None:
        return None
    try:
        return Place(**json.loads(text))
    except (TypeError, ValueError):
        return None


def _by_sender(sources: Iterable[WatchSource]) -> dict[IPAddress, list[WatchSource]]:
    found: dict[IPAddress, list[WatchSource]] = defaultdict(list)
    for source in sources:
        for sender in source.senders:
            found[sender].append(source)
    return found
