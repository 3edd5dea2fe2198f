"""Connections that carry syslog: accepting them, reading them in turn, ending them.

What belongs here: sockets and bounds. What does not: frames (`framing`), datagrams (`syslog_listener`).
Nothing is ever sent on such a connection, so that sockets are read as they are, without a task for each.
"""

import asyncio
import socket
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from pattress.egress.framing import Framer
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource

MAX_MESSAGE_BYTES = 8 * 1024  # a line of a packet filter takes under 500 bytes; RFC 5425 asks for 8 KiB at best
# A house lists some 10 senders. Each may hold 8 connections of one frame each: 10 * 8 * 8 KiB = 640 KiB.
MAX_CONNECTIONS_OF_SENDER = 8
READ_BYTES = 16 * 1024  # at a turn and connection: at most 8,192 frames of one letter, 20 microseconds each
MAX_ACCEPTED_A_TURN = 50
# A router that has nothing to say stays connected, and would lose its next line on a connection that we had closed
# meanwhile. Peers that are gone are found by keepalive within two minutes; the day is for those that only look alive.
IDLE_S = 24 * 3600.0
UNFINISHED_S = 60.0  # a frame comes whole or is on its way; nobody types
KEEPALIVE_IDLE_S, KEEPALIVE_INTERVAL_S, KEEPALIVE_PROBES = 60, 20, 3

Sink = Callable[[WatchSource, bytes], None]
SourcesOf = Callable[[str], Sequence[WatchSource]]


@dataclass(slots=True, eq=False)
class _Connection:
    """One connection. `last_at` is when it last sent, `begun_at` when the frame that is not whole yet began."""

    socket: socket.socket
    host: str
    sources: Sequence[WatchSource]
    last_at: float
    begun_at: float | None = None
    framer: Framer = field(default_factory=lambda: Framer(MAX_MESSAGE_BYTES))


class SyslogStreams:
    """The connections of a listening socket: listed senders' frames go to the sink, others are ended at once."""

    def __init__(self, accepting: socket.socket, sources_of: SourcesOf, tallies: Tallies, sink: Sink) -> None:
        self._accepting = accepting
        self._sources_of = sources_of
        self._tallies = tallies
        self._sink = sink
        self._loop = asyncio.get_running_loop()
        self._connections: set[_Connection] = set()
        self._buffer = memoryview(bytearray(READ_BYTES))  # one for all: it is emptied before the next is read

    def open(self) -> None:
        """Begin to accept."""
        self._loop.add_reader(self._accepting, self._accept)

    def close(self) -> None:
        """End all connections and accept no more."""
        self._loop.remove_reader(self._accepting)
        for connection in list(self._connections):
            self._end(connection)

    def sweep(self) -> None:
        """End what has been idle, or in the middle of a frame, for too long; accept again where that had failed."""
        now = self._loop.time()
        for connection in list(self._connections):
            is_stuck = connection.begun_at is not None and now - connection.begun_at > UNFINISHED_S
            if is_stuck or now - connection.last_at > IDLE_S:
                self._refuse(connection.sources, is_stuck)
                self._end(connection)
        self.open()

    def _accept(self) -> None:
        for _ in range(MAX_ACCEPTED_A_TURN):
            try:
                accepted, (host, *_) = self._accepting.accept()
            except (BlockingIOError, InterruptedError, ConnectionError):
                return
            except OSError:  # no more file descriptors, as it comes: the next sweep tries again
                self._loop.remove_reader(self._accepting)
                return
            sources = self._sources_of(host)
            if not sources:
                self._tallies.strangers += 1
                accepted.close()
            elif sum(one.host == host for one in self._connections) >= MAX_CONNECTIONS_OF_SENDER:
                self._refuse(sources)
                accepted.close()
            else:
                self._add(accepted, host, sources)

    def _add(self, accepted: socket.socket, host: str, sources: Sequence[WatchSource]) -> None:
        accepted.setblocking(False)
        _keep_alive(accepted)
        connection = _Connection(accepted, host, sources, self._loop.time())
        self._connections.add(connection)
        self._loop.add_reader(accepted, self._read, connection)

    def _read(self, connection: _Connection) -> None:
        try:
            count = connection.socket.recv_into(self._buffer)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:  # reset, or found gone by keepalive
            count = 0
        framer = connection.framer
        cut_before = framer.cut
        frames = framer.feed(bytes(self._buffer[:count])) if count else framer.finish()
        self._refuse(connection.sources, framer.cut - cut_before)
        for source in connection.sources:
            self._tallies.of(source.name).heard += len(frames)
            for frame in frames:
                self._sink(source, frame)
        self._note(connection, has_frames=bool(frames))
        if not count:
            self._end(connection)

    def _note(self, connection: _Connection, *, has_frames: bool) -> None:
        connection.last_at = self._loop.time()
        if not connection.framer.is_amid_frame:
            connection.begun_at = None
        elif has_frames or connection.begun_at is None:
            connection.begun_at = connection.last_at

    def _end(self, connection: _Connection) -> None:
        self._connections.discard(connection)
        self._loop.remove_reader(connection.socket)
        connection.socket.close()

    def _refuse(self, sources: Sequence[WatchSource], count: int = 1) -> None:
        for source in sources:
            self._tallies.of(source.name).refused += count


def _keep_alive(connected: socket.socket) -> None:
    """Have the system find out when the peer is gone without a word, as after a power cut."""
    connected.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    if sys.platform == "linux":
        connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE, KEEPALIVE_IDLE_S)
        connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPINTVL, KEEPALIVE_INTERVAL_S)
        connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPCNT, KEEPALIVE_PROBES)
