"""Listening for flow export by UDP at one address and port.

What belongs here: the socket, who may send, and bounds. What does not: what datagrams say (`decoder`), and which of
their records matter (`screening`). Senders can be forged: whoever may send packets into the network may speak as a
listed exporter.
"""

import asyncio
import contextlib
import socket
from collections.abc import Callable, Mapping
from datetime import datetime
from ipaddress import ip_address
from typing import Literal

from pattress.egress.datagrams import WANTED_BUFFER_BYTES, Datagrams
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.evidence import Datagram, FlowEvidence
from pattress.egress.flows.screening import Call
from pattress.egress.pausing import pause, retry_pauses
from pattress.egress.senders import Senders, shown
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tallies
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Traffic
from pattress.model.errors import reason_of
from pattress.model.watching import WatchSource

Sink = Callable[[WatchSource, list[Traffic], list[Call]], None]
"""Takes from a source what concerns the outside, and which hosts of the inside devices called."""

MAX_DATAGRAM_BYTES = 65_535
# A turn of the usual datagrams (1,400 bytes, 25 records at half a microsecond) holds the loop for some 5 ms. One of the
# largest ends with 512 KiB and what a stride more may bring, which are at most 52,000 records of 20 bytes: 26 ms.
MAX_DATAGRAMS_A_TURN = 384
MAX_BYTES_A_TURN = 512 * 1024
STRIDE = 8  # datagrams between two looks at the bytes
# After the end, for what had come by then. A buffer of 8 MiB, of which Linux takes twice as much, holds 22,000 of the
# smallest datagrams, which are 57 turns, or 16 MiB of the largest, which are 32 of 26 ms each: 0.8 s. Whoever goes on
# sending can make it 1.7 s.
MAX_LAST_TURNS = 64
# After a turn that took all there was, more is waited for, because each decoding costs half a millisecond besides its
# records. Not where so many came in the meantime that the buffer was half full.
GATHER_S = 0.02
MEMORY_A_DATAGRAM = 2_304  # of 1,400 bytes, as Linux counts them; of what it grants it takes twice as much
SMALL_BUFFER_BYTES = WANTED_BUFFER_BYTES // 8


class FlowListener:
    """Takes flow export from the senders of the site's sources.

    Args:
        at: A numeric address and a port, where 0 is any free one. `::` takes IPv4 as well.
        sources: The sources by the address of their sender.
        tallies: Where it is counted what came, was refused or is known to be lost.
        decoder: Decodes; it is not used elsewhere while this listens.
        space: Where addresses are.
        clock: The time, with its zone.

    `is_listening` is set while the socket is open; `port` and `buffer_bytes`, the receive buffer that the system
    granted, are known from then on.
    """

    def __init__(
        self,
        at: tuple[str, int],
        sources: Mapping[IPAddress, WatchSource],
        tallies: Tallies,
        decoder: FlowDecoder,
        space: BulkSpace,
        clock: Callable[[], datetime],
    ) -> None:
        self._at = at
        self._senders = Senders({address: (one,) for address, one in sources.items()}, tallies)
        self._tallies = tallies
        listed = {ip_address(sender): one for sender, (one, *_) in self._senders.sources.items()}
        self._evidence = FlowEvidence(listed, tallies, decoder, space)
        self._clock = clock
        self.is_listening = asyncio.Event()
        self.port = at[1]
        self.buffer_bytes = 0

    @property
    def small_buffer(self) -> str | None:
        """What a person should know where the system granted far less of a receive buffer than is wanted."""
        if not 0 < self.buffer_bytes < SMALL_BUFFER_BYTES:
            return None
        return (
            f"the receive buffer for flows has {self.buffer_bytes // 1024} KiB of {WANTED_BUFFER_BYTES // 1024} KiB, so"
            " that a burst may be lost. Raise net.core.rmem_max, or give the program CAP_NET_ADMIN"
        )

    async def listen(self, sink: Sink, stop: asyncio.Event) -> None:
        """Hand to `sink` what matters until `stop` is set, with all that has come by then.

        What fails is said in the tallies, and tried again.
        """
        for seconds in retry_pauses():
            try:
                datagrams = Datagrams(self._at, max_bytes=MAX_DATAGRAM_BYTES)
            except OSError as error:
                self._senders.say(f"nobody can listen for flows at {shown(self._at)} ({reason_of(error)})")
            else:
                with contextlib.closing(datagrams):
                    self.port = datagrams.socket.getsockname()[1]
                    self.buffer_bytes = datagrams.buffer_bytes
                    self._senders.say(None)
                    failure = await self._run(datagrams, sink, stop)
                if failure is not None:
                    self._senders.say(f"listening for flows at {shown(self._at)} failed ({reason_of(failure)})")
            if not await pause(stop, seconds):
                return

    async def _run(self, datagrams: Datagrams, sink: Sink, stop: asyncio.Event) -> OSError | None:
        """Take what comes until `stop` is set or the socket fails, and return how it failed."""
        many = datagrams.buffer_bytes // MEMORY_A_DATAGRAM
        is_busy = is_over = False
        last_turns = MAX_LAST_TURNS
        async with asyncio.TaskGroup() as group:
            stopping = group.create_task(stop.wait(), name="end of listening for flows")
            self.is_listening.set()
            try:
                while last_turns and not is_over:
                    is_last = not await _is_readable(datagrams.socket, stopping)
                    if is_last:
                        last_turns -= 1
                    elif not is_busy:
                        await pause(stop, GATHER_S)
                    try:
                        batch, is_all = self._read(datagrams)
                    except OSError as error:
                        return error
                    is_busy, is_over = not is_all or len(batch) >= many, is_last and is_all
                    for source, traffic, calls in self._evidence.of(batch, self._clock()):
                        sink(source, traffic, calls)
                        await asyncio.sleep(0)
            finally:
                self.is_listening.clear()
                stopping.cancel()
        return None

    def _read(self, datagrams: Datagrams) -> tuple[list[Datagram], bool]:
        """Return what has come from listed senders, as much of it as a turn takes, and whether that was all."""
        batch: list[Datagram] = []
        count = octets = 0

        def take(data: bytes, host: str, port: int, _is_cut: bool) -> None:
            nonlocal count, octets
            count += 1
            octets += len(data)
            sender = self._senders.listed(host)
            if sender is None:
                self._tallies.strangers += 1
            else:
                batch.append((sender, port, data))

        wanted = 0
        while count == wanted < MAX_DATAGRAMS_A_TURN and octets < MAX_BYTES_A_TURN:
            wanted += STRIDE
            self._senders.lose(datagrams.read(take, STRIDE))
        return batch, count < wanted


async def _is_readable(bound: socket.socket, stopping: asyncio.Task[Literal[True]]) -> bool:
    """Whether something has come, rather than that listening ends."""
    loop = asyncio.get_running_loop()
    came: asyncio.Future[None] = loop.create_future()

    def note() -> None:
        if not came.done():
            came.set_result(None)

    loop.add_reader(bound, note)
    try:
        await asyncio.wait((came, stopping), return_when=asyncio.FIRST_COMPLETED)
    finally:
        loop.remove_reader(bound)
    return not stopping.done()
