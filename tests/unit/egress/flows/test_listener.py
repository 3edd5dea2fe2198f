"""Flow export over real sockets on loopback."""

import asyncio
import ipaddress
import socket
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from pattress.egress import datagrams as datagrams_module
from pattress.egress.datagrams import Datagrams
from pattress.egress.flows import evidence
from pattress.egress.flows import listener as listener_module
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.listener import FlowListener
from pattress.egress.flows.screening import Call
from pattress.egress.space import Space
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tallies, Tally
from pattress.model.encounter import KeptTemplate, Traffic
from pattress.model.watching import WatchSource
from unit.egress.flows.house_flows import FIELDS, NETWORKS, data, export, flow, message, template

DEADLINE_S = 20.0
NOON = datetime(2026, 5, 28, 12, tzinfo=UTC)
ROUTER = WatchSource(name="router-flows", kind="flows", senders=(ipaddress.ip_address("127.0.0.1"),))
OTHER = WatchSource(name="other-flows", kind="flows", senders=(ipaddress.ip_address("127.0.0.2"),))
OUT = flow("192.0.2.7", "203.0.113.9")


class House:
    """A listener that is listening, and what it handed on."""

    def __init__(self, at: str, sources: Sequence[WatchSource], kept: Sequence[KeptTemplate] = ()) -> None:
        self.tallies = Tallies()
        self.traffic: list[Traffic] = []
        self.calls: list[Call] = []
        self.sunk: list[tuple[str, int, int]] = []
        self.heard = asyncio.Event()
        self.decoder = FlowDecoder(kept)
        by_sender = {address: source for source in sources for address in source.senders}
        space = BulkSpace(Space(NETWORKS))
        self.listener = FlowListener((at, 0), by_sender, self.tallies, self.decoder, space, lambda: NOON)

    def take(self, source: WatchSource, traffic: list[Traffic], calls: list[Call]) -> None:
        self.traffic += traffic
        self.calls += calls
        self.sunk.append((source.name, len(traffic), len(calls)))
        self.heard.set()

    async def until(self, is_enough: Callable[[], bool]) -> None:
        """Wait until something is so, looking whenever something was handed on."""
        async with asyncio.timeout(DEADLINE_S):
            while not is_enough():
                self.heard.clear()
                await self.heard.wait()

    def tally(self, source: WatchSource = ROUTER) -> Tally:
        return self.tallies.of(source.name)


@asynccontextmanager
async def listening(
    at: str = "127.0.0.1", sources: Sequence[WatchSource] = (ROUTER,), kept: Sequence[KeptTemplate] = ()
) -> AsyncIterator[House]:
    house = House(at, sources, kept)
    stop = asyncio.Event()
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(house.listener.listen(house.take, stop), name="listener")
        await house.listener.is_listening.wait()
        try:
            yield house
        finally:
            stop.set()


def bound(host: str) -> socket.socket:
    made = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_DGRAM)
    made.bind((host, 0))
    return made


@pytest.fixture
def sender() -> Iterator[socket.socket]:
    with bound("127.0.0.1") as made:
        yield made


async def test_only_what_matters_is_handed_on(sender: socket.socket) -> None:
    inward = flow("198.51.100.5", "198.51.100.6")
    async with listening() as house:
        sender.sendto(export([inward, OUT, inward]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    [traffic] = house.traffic
    assert (traffic.source, traffic.at, traffic.verdict) == ("router-flows", NOON, None)
    assert (str(traffic.sender), str(traffic.receiver)) == ("192.0.2.7", "203.0.113.9")
    assert house.tally() == Tally(heard=3)


async def test_calls_are_handed_on_as_well(sender: socket.socket) -> None:
    async with listening() as house:
        sender.sendto(export([flow("192.0.2.7", "198.51.100.5", (40000, 53))]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.calls))

    assert house.calls == [(ipaddress.ip_address("192.0.2.7"), ipaddress.ip_address("198.51.100.5"), 53)]
    assert house.traffic == []


async def test_what_a_source_sees_after_the_filter_was_let_through(sender: socket.socket) -> None:
    async with listening(sources=[replace(ROUTER, is_after_filter=True)]) as house:
        sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert [one.verdict for one in house.traffic] == ["let-through"]


async def test_each_sender_counts_for_its_own_source(sender: socket.socket) -> None:
    async with listening(sources=[ROUTER, OTHER]) as house:
        with bound("127.0.0.2") as other:
            for one, records in ((sender, [OUT]), (other, [OUT, OUT])):
                one.sendto(export(records), ("127.0.0.1", house.listener.port))
            await house.until(lambda: len(house.traffic) == 3)

    assert sorted(house.sunk) == [("other-flows", 2, 0), ("router-flows", 1, 0)]
    assert (house.tally(ROUTER).heard, house.tally(OTHER).heard) == (1, 2)


async def test_a_stranger_is_counted_and_not_heard(sender: socket.socket) -> None:
    async with listening() as house:
        with bound("127.0.0.3") as stranger:
            stranger.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
            sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
            await house.until(lambda: bool(house.traffic))

    assert len(house.traffic) == 1
    assert house.tallies.strangers == 1
    assert house.tally() == Tally(heard=1)


async def test_a_sender_by_ipv4_is_known_where_ipv6_is_listened_on(sender: socket.socket) -> None:
    six = replace(ROUTER, name="six", senders=(ipaddress.ip_address("::1"),))
    async with listening("::", [ROUTER, six]) as house:
        sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        with bound("::1") as other:
            other.sendto(export([OUT, OUT]), ("::1", house.listener.port))
            await house.until(lambda: len(house.traffic) == 3)

    assert (house.tally(ROUTER).heard, house.tally(six).heard) == (1, 2)


async def test_a_site_may_write_the_sender_as_a_mapped_address(sender: socket.socket) -> None:
    mapped = replace(ROUTER, senders=(ipaddress.ip_address("::ffff:127.0.0.1"),))
    async with listening(sources=[mapped]) as house:
        sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert house.tallies.strangers == 0


async def test_the_outside_of_no_device_is_counted_and_rubbish_is_refused(sender: socket.socket) -> None:
    nobody = flow("198.51.100.5", "203.0.113.9")
    async with listening() as house:
        sender.sendto(b"rubbish", ("127.0.0.1", house.listener.port))
        sender.sendto(export([nobody, nobody, OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert house.tally() == Tally(heard=3, refused=1, unmatched=2)


async def test_many_rows_are_handed_on_in_parts_with_the_loop_free_between(
    sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evidence, "MAX_ROWS_AT_ONCE", 4)
    call = flow("192.0.2.7", "198.51.100.5", (40000, 53))
    turns = 0

    async with listening() as house:
        loop = asyncio.get_running_loop()

        def count() -> None:
            nonlocal turns
            turns += 1
            if len(house.traffic) < 10:
                loop.call_soon(count)

        sender.sendto(export([OUT] * 10 + [call]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))
        began = len(house.traffic)
        loop.call_soon(count)
        await house.until(lambda: len(house.traffic) == 10)

    assert (began, house.sunk) == (4, [("router-flows", 4, 1), ("router-flows", 4, 0), ("router-flows", 2, 0)])
    assert turns >= 2


async def test_a_turn_ends_with_its_datagrams_or_bytes(sender: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    batches = list[int]()

    class Counting(FlowDecoder):
        def decode(self, datagrams: Sequence[tuple[str, int, bytes]], *more: Any) -> Any:
            batches.append(len(datagrams))
            return super().decode(datagrams, *more)

    monkeypatch.setattr(f"{__name__}.FlowDecoder", Counting)
    monkeypatch.setattr(listener_module, "MAX_DATAGRAMS_A_TURN", 16)

    async with listening() as house:
        for number in range(40):
            sender.sendto(export([OUT], sequence=number), ("127.0.0.1", house.listener.port))
        await house.until(lambda: len(house.traffic) == 40)
        by_number, batches[:] = list(batches), []
        monkeypatch.setattr(listener_module, "MAX_BYTES_A_TURN", 1)
        for number in range(40, 80):
            sender.sendto(export([OUT], sequence=number), ("127.0.0.1", house.listener.port))
        await house.until(lambda: len(house.traffic) == 80)

    assert max(by_number) == 16
    assert max(batches) == listener_module.STRIDE
    assert house.tally() == Tally(heard=80)


async def test_what_had_come_when_it_was_told_to_stop_is_not_lost(
    sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listener_module, "MAX_DATAGRAMS_A_TURN", 16)
    async with listening() as house:
        for number in range(100):  # the loop gets no turn until it is to stop
            sender.sendto(export([OUT], sequence=number), ("127.0.0.1", house.listener.port))

    assert len(house.traffic) == 100
    assert house.tally() == Tally(heard=100)


async def test_a_sender_that_goes_on_does_not_keep_it_from_stopping(
    sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = House.take
    sequence = 0

    def send(house: House, count: int) -> None:
        nonlocal sequence
        for _ in range(count):
            sender.sendto(export([OUT], sequence=sequence), ("127.0.0.1", house.listener.port))
            sequence += 1

    def take_while_more_comes(house: House, *handed: Any) -> None:
        take(house, *handed)
        send(house, 2 * listener_module.STRIDE)

    monkeypatch.setattr(House, "take", take_while_more_comes)
    monkeypatch.setattr(listener_module, "MAX_DATAGRAMS_A_TURN", listener_module.STRIDE)
    monkeypatch.setattr(listener_module, "MAX_LAST_TURNS", 3)
    async with listening() as house:
        send(house, 2 * listener_module.STRIDE)

    assert 3 * listener_module.STRIDE <= house.tally().heard < sequence


async def test_what_the_kernel_dropped_is_counted_for_every_source(
    sender: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(datagrams_module, "WANTED_BUFFER_BYTES", 8192)
    async with listening(sources=[ROUTER, OTHER]) as house:
        sent = 200
        for _ in range(sent):  # the loop gets no turn, so that the buffer runs over
            sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))
        sender.sendto(export([flow("192.0.2.8", "203.0.113.9")]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: str(house.traffic[-1].sender) == "192.0.2.8")

    heard = house.tally(ROUTER).heard
    assert 0 < heard < sent
    assert house.tally(OTHER).lost == sent + 1 - heard


async def test_templates_of_an_earlier_run_are_used(sender: socket.socket) -> None:
    [kept] = _templates_of("127.0.0.1", sender.getsockname()[1])
    async with listening(kept=[kept]) as house:
        sender.sendto(message(data(304, [OUT])), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert len(house.traffic) == 1


def _templates_of(host: str, port: int) -> list[KeptTemplate]:
    decoder = FlowDecoder()
    decoder.decode([(host, port, message(template(304, FIELDS[4])))], NOON, lambda _: Tally())
    return decoder.templates()


async def test_what_was_held_for_a_sender_no_longer_listed_troubles_nobody(sender: socket.socket) -> None:
    async with listening() as house:
        early = [("192.0.2.99", 4739, message(data(304, [OUT])))]
        house.decoder.decode(early, NOON - timedelta(days=1), lambda _: Tally())
        sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert house.tally() == Tally(heard=1)


async def test_the_buffer_that_was_granted_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    async with listening() as house:
        house_is_large, told_large = house.listener.buffer_bytes, house.listener.small_buffer
    monkeypatch.setattr(datagrams_module, "WANTED_BUFFER_BYTES", 64 * 1024)
    async with listening() as house:
        told = house.listener.small_buffer

    assert (told_large is None) == (house_is_large >= listener_module.SMALL_BUFFER_BYTES)
    assert told is not None
    assert "64 KiB of 8192 KiB" in told
    assert house.tally().trouble is None  # it is heard all the same


async def test_an_address_that_cannot_be_listened_at_is_said_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    pauses = list[float]()
    house = House("127.0.0.1", [ROUTER])
    stop = asyncio.Event()

    async def pause(_: asyncio.Event, seconds: float) -> bool:
        pauses.append(seconds)
        return len(pauses) < 3

    monkeypatch.setattr(listener_module, "pause", pause)
    with bound("127.0.0.1") as taken:
        house.listener = FlowListener(
            taken.getsockname(),
            {ipaddress.ip_address("127.0.0.1"): ROUTER},
            house.tallies,
            house.decoder,
            BulkSpace(Space(NETWORKS)),
            lambda: NOON,
        )
        async with asyncio.timeout(DEADLINE_S):
            await house.listener.listen(house.take, stop)

    assert len(pauses) == 3
    assert f"nobody can listen for flows at 127.0.0.1:{house.listener.port}" in (house.tally().trouble or "")


async def test_a_socket_that_failed_is_replaced(sender: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    read = Datagrams.read
    failures = [OSError(5, "Input/output error")]

    def failing(self: Datagrams, *arguments: Any) -> int:
        if failures:
            raise failures.pop()
        return read(self, *arguments)

    monkeypatch.setattr(Datagrams, "read", failing)
    monkeypatch.setattr(listener_module, "retry_pauses", lambda: iter([0.0, 0.0]))
    async with listening() as house:
        first_port = house.listener.port
        sender.sendto(export([OUT]), ("127.0.0.1", first_port))
        async with asyncio.timeout(DEADLINE_S):
            while house.listener.port == first_port:
                house.listener.is_listening.clear()
                await house.listener.is_listening.wait()
        sender.sendto(export([OUT]), ("127.0.0.1", house.listener.port))
        await house.until(lambda: bool(house.traffic))

    assert failures == []
    assert house.tally().trouble is None


async def test_it_ends_at_once_when_it_is_told_to() -> None:
    async with asyncio.timeout(DEADLINE_S):
        async with listening() as house:
            pass

    assert not house.listener.is_listening.is_set()
    assert house.sunk == []
