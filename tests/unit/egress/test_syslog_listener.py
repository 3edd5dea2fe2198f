"""Syslog by UDP and TCP, over real sockets on loopback."""

import asyncio
import ipaddress
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager

import pytest

from pattress.egress import syslog_listener, syslog_streams
from pattress.egress.pausing import pause
from pattress.egress.syslog_listener import SyslogListener
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource

DEADLINE_S = 20.0
ROUTER = WatchSource(name="router-log", kind="firewall", senders=(ipaddress.ip_address("127.0.0.1"),))
RESOLVER = WatchSource(name="resolver", kind="names", senders=(ipaddress.ip_address("127.0.0.1"),))
LINE = b"<4>Nov 25 10:00:00 router kernel: iot-drop IN=iot0 OUT=wan0 SRC=192.0.2.17 DST=203.0.113.9"


class House:
    """A listener that is listening, and what it took."""

    def __init__(self, at: str, *sources: WatchSource) -> None:
        self.tallies = Tallies()
        self.taken: list[tuple[str, bytes]] = []
        self._more = asyncio.Event()
        by_sender = {address: sources for source in sources for address in source.senders}
        self.listener = SyslogListener((at, 0), by_sender, self.tallies)

    def take(self, source: WatchSource, line: bytes) -> None:
        self.taken.append((source.name, line))
        self._more.set()

    async def until(self, is_enough: Callable[[], bool]) -> None:
        """Wait until something is so, looking whenever a message came."""
        async with asyncio.timeout(DEADLINE_S):
            while not is_enough():
                self._more.clear()
                await self._more.wait()

    async def connect(self, host: str = "127.0.0.1") -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        return await asyncio.open_connection("127.0.0.1", self.listener.port, local_addr=(host, 0))


@asynccontextmanager
async def listening(at: str = "127.0.0.1", *sources: WatchSource) -> AsyncIterator[House]:
    house = House(at, *(sources or (ROUTER,)))
    stop = asyncio.Event()
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(house.listener.listen(house.take, stop), name="listener")
        await house.listener.is_listening.wait()
        try:
            yield house
        finally:
            stop.set()


@pytest.fixture
def sender() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        made.bind(("127.0.0.1", 0))
        yield made


async def test_a_datagram_of_a_listed_sender_goes_to_each_of_its_sources(sender: socket.socket) -> None:
    async with listening("127.0.0.1", ROUTER, RESOLVER) as house:
        sender.sendto(LINE, ("127.0.0.1", house.listener.port))
        await house.until(lambda: len(house.taken) == 2)

    assert house.taken == [("router-log", LINE), ("resolver", LINE)]
    assert house.tallies.of("router-log").heard == house.tallies.of("resolver").heard == 1


async def test_what_had_come_when_it_was_told_to_stop_is_not_lost(sender: socket.socket) -> None:
    async with listening() as house:
        with socket.create_connection(("127.0.0.1", house.listener.port)) as connected:
            connected.sendall((LINE + b"\n") * 1_000)  # the loop gets no turn until it is to stop
            for _ in range(100):
                sender.sendto(LINE, ("127.0.0.1", house.listener.port))

    assert house.taken == [("router-log", LINE)] * 1_100
    assert house.tallies.of("router-log").heard == 1_100


async def test_a_sender_that_goes_on_does_not_keep_it_from_stopping(
    sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = House.take

    def take_while_more_comes(house: House, source: WatchSource, line: bytes) -> None:
        take(house, source, line)
        sender.sendto(LINE, ("127.0.0.1", house.listener.port))

    monkeypatch.setattr(House, "take", take_while_more_comes)
    monkeypatch.setattr(syslog_listener, "MAX_LAST_TURNS", 3)
    async with listening() as house:
        sender.sendto(LINE, ("127.0.0.1", house.listener.port))

    assert house.taken


async def test_a_stranger_is_counted_and_not_heard(sender: socket.socket) -> None:
    async with listening() as house:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
            stranger.bind(("127.0.0.2", 0))
            stranger.sendto(b"stranger", ("127.0.0.1", house.listener.port))
        sender.sendto(LINE, ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.taken))

    assert house.taken == [("router-log", LINE)]
    assert house.tallies.strangers == 1


async def test_an_ipv4_sender_is_known_on_a_socket_for_both(sender: socket.socket) -> None:
    async with listening("::") as house:
        sender.sendto(LINE, ("127.0.0.1", house.listener.port))
        await house.until(lambda: len(house.taken) == 1)
        _, writer = await house.connect()
        writer.write(LINE + b"\n")
        await house.until(lambda: len(house.taken) == 2)
        writer.close()
        await writer.wait_closed()

    assert house.taken == [("router-log", LINE)] * 2


async def test_an_ipv6_sender_is_known() -> None:
    source = WatchSource(name="router-log", kind="firewall", senders=(ipaddress.ip_address("::1"),))

    async with listening("::1", source) as house:
        with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as sender:
            sender.sendto(LINE, ("::1", house.listener.port))
        await house.until(lambda: bool(house.taken))

    assert house.taken == [("router-log", LINE)]


async def test_a_datagram_that_is_too_long_is_cut_and_counted(sender: socket.socket) -> None:
    async with listening() as house:
        sender.sendto(b"a" * 20_000, ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.taken))

    assert house.taken == [("router-log", b"a" * syslog_streams.MAX_MESSAGE_BYTES)]
    assert house.tallies.of("router-log").refused == 1


async def test_what_the_kernel_dropped_is_counted(sender: socket.socket) -> None:
    count = 60_000
    async with listening() as house:
        for _ in range(count):  # more than the buffer holds, while nobody reads
            sender.sendto(LINE, ("127.0.0.1", house.listener.port))
        for _ in range(2):  # the kernel tells with a datagram that comes after those it dropped
            before = len(house.taken)
            await house.until(lambda before=before: len(house.taken) > before)
            await drained(house)
            sender.sendto(LINE, ("127.0.0.1", house.listener.port))
        await drained(house, count + 2)

    tally = house.tallies.of("router-log")
    assert tally.lost > 0
    assert tally.heard + tally.lost == count + 2


async def drained(house: House, count: int | None = None) -> None:
    """Wait until the socket is empty; until all of a known count are accounted for, where that is given."""
    tally = house.tallies.of("router-log")
    if count is not None:
        await house.until(lambda: tally.heard + tally.lost >= count)
        return
    heard = -1
    while heard != tally.heard:
        heard = tally.heard
        for _ in range(3):
            await asyncio.sleep(0)


async def test_the_receive_buffer_that_was_granted_is_known() -> None:
    async with listening() as house:
        granted = house.listener.buffer_bytes

    assert granted >= 64 * 1024


@pytest.mark.parametrize(
    ("sent", "frames"),
    [
        (b"<4>one\n<4>two\n", [b"<4>one", b"<4>two"]),
        (b"6 <4>one6 <4>two", [b"<4>one", b"<4>two"]),
        (b"<4>no end", [b"<4>no end"]),
    ],
    ids=["lines", "counted", "unended"],
)
@pytest.mark.parametrize("chunk", [1, 1000])
async def test_frames_of_a_connection_are_told_apart(sent: bytes, frames: list[bytes], chunk: int) -> None:
    async with listening() as house:
        _, writer = await house.connect()
        for start in range(0, len(sent), chunk):
            writer.write(sent[start : start + chunk])
            await writer.drain()
        writer.close()
        await writer.wait_closed()
        await house.until(lambda: len(house.taken) == len(frames))

    assert house.taken == [("router-log", frame) for frame in frames]


async def test_a_stranger_is_not_let_in() -> None:
    async with listening() as house:
        reader, writer = await house.connect("127.0.0.2")
        answer = await reader.read()
        writer.close()

    assert answer == b""
    assert house.tallies.strangers == 1


async def test_a_sender_holds_a_bounded_number_of_connections() -> None:
    most = syslog_streams.MAX_CONNECTIONS_OF_SENDER
    async with listening() as house:
        held = [await house.connect() for _ in range(most)]
        reader, writer = await house.connect()
        refused = await reader.read()
        held[0][1].write(b"still heard\n")
        await house.until(lambda: bool(house.taken))
        held[0][1].close()
        held[0][0].feed_eof()
        for _, one in [*held[1:], (reader, writer)]:
            one.close()

    assert refused == b""
    assert house.taken == [("router-log", b"still heard")]
    assert house.tallies.of("router-log").refused == 1


async def test_a_connection_that_ended_makes_room_for_another() -> None:
    async with listening() as house:
        for number in range(3 * syslog_streams.MAX_CONNECTIONS_OF_SENDER):
            _, writer = await house.connect()
            writer.write(b"%d\n" % number)
            writer.close()
            await writer.wait_closed()
            await house.until(lambda number=number: len(house.taken) == number + 1)

    assert house.tallies.of("router-log").refused == 0


async def test_a_frame_that_never_ends_ends_its_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.01)
    monkeypatch.setattr(syslog_streams, "UNFINISHED_S", 0.05)
    async with listening() as house:
        reader, writer = await house.connect()
        writer.write(b"whole\n<4>half")
        answer = await reader.read()
        writer.close()

    assert answer == b""
    assert house.taken == [("router-log", b"whole")]
    assert house.tallies.of("router-log").refused == 1


async def test_a_connection_between_frames_may_be_quiet_for_longer_than_within_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.01)
    monkeypatch.setattr(syslog_streams, "UNFINISHED_S", 0.05)
    async with listening() as house:
        quiet_reader, quiet = await house.connect()
        quiet.write(b"one\n")
        stuck_reader, stuck = await house.connect()
        stuck.write(b"half")
        await stuck_reader.read()
        is_open = not quiet_reader.at_eof()
        quiet.write(b"two\n")
        await house.until(lambda: len(house.taken) == 2)
        quiet.close()
        stuck.close()

    assert is_open


async def test_an_idle_connection_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(syslog_listener, "SWEEP_S", 0.01)
    monkeypatch.setattr(syslog_streams, "IDLE_S", 0.05)
    async with listening() as house:
        reader, writer = await house.connect()
        answer = await reader.read()
        writer.close()

    assert answer == b""


async def test_an_address_that_is_taken_troubles_the_source_until_it_is_free(monkeypatch: pytest.MonkeyPatch) -> None:
    has_failed = asyncio.Event()

    async def short(stop: asyncio.Event, _seconds: float) -> bool:
        has_failed.set()
        return await pause(stop, 0.01)

    monkeypatch.setattr(syslog_listener, "pause", short)
    taken = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    taken.bind(("127.0.0.1", 0))
    tallies, stop = Tallies(), asyncio.Event()
    listener = SyslogListener(taken.getsockname(), {ROUTER.senders[0]: [ROUTER]}, tallies)

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(listener.listen(lambda *_: None, stop), name="listener")
        await has_failed.wait()
        trouble = tallies.of("router-log").trouble
        taken.close()
        await listener.is_listening.wait()
        stop.set()

    assert trouble is not None
    assert trouble.startswith("nobody can listen for syslog at 127.0.0.1:")
    assert "address already in use" in trouble
    assert tallies.of("router-log").trouble is None


async def test_it_ends_at_once_with_connections_open() -> None:
    async with listening() as house:
        reader, writer = await house.connect()
        writer.write(b"one\nhalf")
        await house.until(lambda: bool(house.taken))

    assert await reader.read() == b""
    writer.close()
