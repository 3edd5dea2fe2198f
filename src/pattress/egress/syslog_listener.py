"""Listening for syslog by UDP (RFC 5426) and TCP (RFC 6587) at one address and port.

What belongs here: the sockets, who may send, and bounds. What does not: frames (`framing`), what messages say.
UDP senders can be forged: whoever may send packets into the network may speak as a listed sender.
"""

import asyncio
import contextlib
import socket
from collections.abc import Callable, Mapping, Sequence

from pattress.egress.datagrams import Datagrams, bound_socket
from pattress.egress.pausing import pause, retry_pauses
from pattress.egress.senders import Senders, shown
from pattress.egress.syslog_streams import MAX_MESSAGE_BYTES, SyslogStreams
from pattress.egress.tally import Tallies
from pattress.model.addresses import IPAddress
from pattress.model.errors import reason_of
from pattress.model.watching import WatchSource

Sink = Callable[[WatchSource, bytes], None]
"""Takes one message, and the source it is from."""

SWEEP_S = 5.0  # how exactly the deadlines of connections are kept, and how soon a socket that failed is replaced
# What had come by the end is still taken: a full receive buffer of some 10,000 datagrams is 20 turns of the loop.
# Whoever goes on sending can make it 0.6 s.
MAX_LAST_TURNS = 64
QUIET_TURNS = 3  # a connection is accepted in one turn of the loop and read in the next
ANY_PORT_TRIES = 8  # a port that is free for UDP and taken for TCP


class SyslogListener:
    """Takes messages from the senders of the site's sources; each goes to every source with that sender.

    Args:
        at: A numeric address and a port, where 0 is any free one. `::` takes IPv4 as well.
        sources: The sources by the address of their sender.
        tallies: Where it is counted what came, was refused (over a bound) or is known to be lost.

    `is_listening` is set while the sockets are open; `port` and `buffer_bytes`, the receive buffer that the system
    granted for datagrams, are known from then on.
    """

    def __init__(
        self, at: tuple[str, int], sources: Mapping[IPAddress, Sequence[WatchSource]], tallies: Tallies
    ) -> None:
        self._at = at
        self._senders = Senders(sources, tallies)
        self._tallies = tallies
        self.is_listening = asyncio.Event()
        self.port = at[1]
        self.buffer_bytes = 0

    async def listen(self, sink: Sink, stop: asyncio.Event) -> None:
        """Hand each message to `sink` until `stop` is set, with all that has come by then.

        What fails is said in the tallies, and tried again.
        """
        for seconds in retry_pauses():
            with contextlib.ExitStack() as stack:
                try:
                    datagrams, accepting = self._open(stack)
                except OSError as error:
                    self._senders.say(f"nobody can listen for syslog at {shown(self._at)} ({reason_of(error)})")
                else:
                    self._senders.say(None)
                    failure = await self._run(datagrams, accepting, sink, stop)
                    if failure is not None:
                        self._senders.say(f"listening for syslog at {shown(self._at)} failed ({reason_of(failure)})")
            if not await pause(stop, seconds):
                return

    def _open(self, stack: contextlib.ExitStack) -> tuple[Datagrams, socket.socket]:
        host, port = self._at
        for tries_left in reversed(range(ANY_PORT_TRIES)):
            datagrams = Datagrams(self._at, max_bytes=MAX_MESSAGE_BYTES)
            try:
                self.port = datagrams.socket.getsockname()[1]
                accepting = bound_socket((host, self.port), socket.SOCK_STREAM)
            except OSError:
                datagrams.close()
                if port == 0 and tries_left:
                    continue
                raise
            stack.callback(datagrams.close)
            stack.callback(accepting.close)
            accepting.listen()
            self.buffer_bytes = datagrams.buffer_bytes
            return datagrams, accepting
        raise AssertionError("the last try raises or returns")

    async def _run(
        self, datagrams: Datagrams, accepting: socket.socket, sink: Sink, stop: asyncio.Event
    ) -> OSError | None:
        """Take what comes until `stop` is set or the socket fails, and return how it failed."""
        loop = asyncio.get_running_loop()
        failures: list[OSError] = []
        came = 0

        def read() -> None:
            try:
                self._senders.lose(datagrams.read(take))
            except OSError as error:
                loop.remove_reader(datagrams.socket)
                failures.append(error)

        def take(data: bytes, host: str, _port: int, is_cut: bool) -> None:
            nonlocal came
            came += 1
            sources = self._sources_of(host)
            if not sources:
                self._tallies.strangers += 1
            for source in sources:
                tally = self._tallies.of(source.name)
                tally.heard += 1
                tally.refused += is_cut
                sink(source, data)

        def take_frame(source: WatchSource, frame: bytes) -> None:
            nonlocal came
            came += 1
            sink(source, frame)

        streams = SyslogStreams(accepting, self._sources_of, self._tallies, take_frame)
        loop.add_reader(datagrams.socket, read)
        streams.open()
        self.is_listening.set()
        try:
            while not failures and await pause(stop, SWEEP_S):
                streams.sweep()
            turns = quiet = 0
            while turns < MAX_LAST_TURNS and quiet < QUIET_TURNS:
                before = came
                await asyncio.sleep(0)  # the loop reads what is readable
                turns, quiet = turns + 1, quiet + 1 if came == before else 0
        finally:
            self.is_listening.clear()
            loop.remove_reader(datagrams.socket)
            streams.close()
        return failures[0] if failures else None

    def _sources_of(self, host: str) -> tuple[WatchSource, ...]:
        sender = self._senders.listed(host)
        return () if sender is None else self._senders.sources[sender]
