"""Senders of syslog that mean harm: the listed ones keep being heard, memory stays, and the loop is never held.

That the loop is not held for a second is what the suite looks at in every test.
"""

import asyncio
import contextlib
import ipaddress
import socket
import tracemalloc
from collections.abc import AsyncIterator, Iterator
from contextlib import ExitStack, asynccontextmanager, contextmanager

import pytest

from pattress.egress import syslog_listener, syslog_streams
from pattress.egress.syslog_listener import SyslogListener
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource

DEADLINE_S = 60.0
MAX_GROWTH_BYTES = 4 * 1024 * 1024
ATTACKER, ROUTER, STRANGER = "127.0.0.3", "127.0.0.1", "127.0.0.2"
HELD = syslog_streams.MAX_CONNECTIONS_OF_SENDER
PROOF = b"<4>the router is still heard"


def source(name: str, sender: str) -> WatchSource:
    return WatchSource(name=name, kind="firewall", senders=(ipaddress.ip_address(sender),))


class House:
    """A listener with two listed senders. Nothing is kept of what comes, but how much it was."""

    def __init__(self) -> None:
        sources = [source("attacker", ATTACKER), source("router", ROUTER)]
        self.tallies = Tallies()
        self.listener = SyslogListener(("127.0.0.1", 0), {one.senders[0]: [one] for one in sources}, self.tallies)
        self.longest = 0
        self._proof = asyncio.Event()

    def take(self, source: WatchSource, line: bytes) -> None:
        self.longest = max(self.longest, len(line))
        if source.name == "router" and line == PROOF:
            self._proof.set()

    async def hears_the_router(self) -> None:
        """Wait until a message of the router comes through, by TCP and by UDP (which a flood may have dropped)."""
        address = ("127.0.0.1", self.listener.port)
        self._proof.clear()
        _, writer = await asyncio.open_connection(*address, local_addr=(ROUTER, 0))
        writer.write(PROOF + b"\n")
        await self._proof.wait()
        writer.close()
        await writer.wait_closed()
        self._proof.clear()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sender.bind((ROUTER, 0))
            while not self._proof.is_set():
                sender.sendto(PROOF, address)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._proof.wait(), 0.1)

    def connect(self, host: str) -> socket.socket:
        made = socket.socket()
        made.setblocking(False)
        made.bind((host, 0))
        with_error = made.connect_ex(("127.0.0.1", self.listener.port))
        assert with_error in (0, 115)  # under way
        return made


@asynccontextmanager
async def listening() -> AsyncIterator[House]:
    house, stop = House(), asyncio.Event()
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(house.listener.listen(house.take, stop), name="listener")
        await house.listener.is_listening.wait()
        try:
            yield house
        finally:
            stop.set()


@contextmanager
def bounded_memory() -> Iterator[None]:
    tracemalloc.start()
    try:
        yield
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MAX_GROWTH_BYTES


async def send_all(made: socket.socket, data: bytes) -> bool:
    """Whether all of it went before the listener ended the connection."""
    loop = asyncio.get_running_loop()
    try:
        await loop.sock_sendall(made, data)
    except ConnectionError:
        return False
    return True


@pytest.mark.parametrize("host", [ATTACKER, STRANGER], ids=["listed", "stranger"])
async def test_a_flood_of_datagrams(host: str) -> None:
    with bounded_memory():
        async with listening() as house:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as flooding:
                flooding.bind((host, 0))
                for _ in range(40):
                    for _ in range(1_000):
                        flooding.sendto(b"<4>flood", ("127.0.0.1", house.listener.port))
                    await asyncio.sleep(0)
                await house.hears_the_router()

    tally = house.tallies.of("attacker")
    assert tally.heard + house.tallies.strangers + tally.lost > 20_000


async def test_a_flood_of_empty_and_of_largest_datagrams() -> None:
    async with listening() as house:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as flooding:
            flooding.bind((ATTACKER, 0))
            for _ in range(200):
                flooding.sendto(b"", ("127.0.0.1", house.listener.port))
                flooding.sendto(b"x" * 65_000, ("127.0.0.1", house.listener.port))
                await asyncio.sleep(0)
            await house.hears_the_router()

    assert house.longest <= syslog_streams.MAX_MESSAGE_BYTES


@pytest.mark.parametrize("host", [ATTACKER, STRANGER], ids=["listed", "stranger"])
async def test_a_thousand_connections(host: str) -> None:
    with bounded_memory(), ExitStack() as stack:
        async with listening() as house:
            made = []
            for _ in range(20):
                made += [stack.enter_context(house.connect(host)) for _ in range(50)]
                await house.hears_the_router()
            held = sum(is_held(one) for one in made)

    assert held == (HELD if host == ATTACKER else 0)
    refused = house.tallies.of("attacker").refused if host == ATTACKER else house.tallies.strangers
    assert refused >= 1_000 - HELD


def is_held(connected: socket.socket) -> bool:
    """Whether the listener has not ended it. Nothing is ever sent on it, so that all there is to read is its end."""
    try:
        connected.recv(1)
    except BlockingIOError:
        return True
    except ConnectionError:
        return False
    return False


@pytest.mark.parametrize("start", [b"<4>", b"1048575 <4>", b"99999999999999999999 <", b"1"], ids=repr)
async def test_a_frame_that_never_ends(start: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.05)
    monkeypatch.setattr(syslog_streams, "UNFINISHED_S", 0.5)
    with bounded_memory():
        async with listening() as house:
            endless = house.connect(ATTACKER)
            with endless:
                chunk = b"1" * 65_536
                is_open = await send_all(endless, start)
                while is_open:
                    is_open = await send_all(endless, chunk)
                await house.hears_the_router()

    assert house.longest <= syslog_streams.MAX_MESSAGE_BYTES
    assert house.tallies.of("attacker").refused >= 1


async def test_frames_of_one_letter() -> None:
    with bounded_memory():
        async with listening() as house:
            with house.connect(ATTACKER) as flooding:
                sending = asyncio.create_task(send_all(flooding, b"a\n" * 500_000))
                await house.hears_the_router()
                await sending
            await house.hears_the_router()

    assert house.tallies.of("attacker").heard > 100_000


async def test_frames_of_nothing() -> None:
    async with listening() as house:
        with house.connect(ATTACKER) as flooding:
            await send_all(flooding, b"\n" * 2_000_000)
            await send_all(flooding, b"\0 \r\n" * 200_000)
            await house.hears_the_router()

    assert house.tallies.of("attacker").heard == 0


async def test_half_frames_that_hold_every_connection_are_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.05)
    monkeypatch.setattr(syslog_streams, "UNFINISHED_S", 0.5)
    loop = asyncio.get_running_loop()
    async with listening() as house:
        with ExitStack() as stack:
            halves = [stack.enter_context(house.connect(ATTACKER)) for _ in range(HELD)]
            for half in halves:
                await send_all(half, b"500 <4>half")
            await house.hears_the_router()
            ends = [await loop.sock_recv(half, 1) for half in halves]
        await house.hears_the_router()

    assert ends == [b""] * HELD
    assert house.tallies.of("attacker").refused == HELD


async def test_letters_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A frame that grows for ever, slowly, ends its connection like one that stands still."""
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.05)
    monkeypatch.setattr(syslog_streams, "UNFINISHED_S", 0.5)
    async with listening() as house:
        with house.connect(ATTACKER) as dripping:
            is_open = True
            while is_open:
                is_open = await send_all(dripping, b"x")
                await asyncio.sleep(0)
        await house.hears_the_router()

    assert house.tallies.of("attacker").refused >= 1
