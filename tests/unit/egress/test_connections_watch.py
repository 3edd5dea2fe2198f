"""Watching a connection table: a file here, the kernel's own in `tests/peers`."""

import asyncio
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.egress import connections_netlink, connections_watch
from pattress.egress.connections import Connection, connection_of
from pattress.egress.connections_watch import ConnectionsWatch
from pattress.egress.pausing import pause
from pattress.egress.tally import Tallies
from pattress.model.encounter import Traffic
from pattress.model.watching import WatchSource

DEADLINE_S = 20.0
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
ROUTER = WatchSource(name="router", kind="connections")
UNANSWERED = (
    "ipv4     2 udp      17 29 src=192.0.2.17 dst=203.0.113.9 sport=40000 dport=123 packets=1 bytes=76 [UNREPLIED]"
    " src=203.0.113.9 dst=198.51.100.1 sport=123 dport=40000 packets=0 bytes=0 mark=0 zone=0 use=2\n"
)
ANSWERED = (
    "ipv4     2 udp      17 29 src=192.0.2.17 dst=203.0.113.9 sport=40000 dport=123 packets=2 bytes=152"
    " src=203.0.113.9 dst=198.51.100.1 sport=123 dport=40000 packets=1 bytes=76 [ASSURED] mark=0 zone=0 use=2\n"
)
COUNTS = re.compile(r"packets=[0-9]+ bytes=[0-9]+ ")


class Trial:
    """A watch, the files it looks at, and what it told. The looks are taken one by one."""

    def __init__(self, folder: Path) -> None:
        self.table, self.counts = folder / "table", folder / "counts"
        self.table.write_text("")
        self.counts.write_text("1\n")
        self.tallies = Tallies()
        self.told: list[Traffic] = []
        self.watch = ConnectionsWatch(ROUTER, self.tallies, lambda: NOON, table=self.table, counts=self.counts)
        self.stop = asyncio.Event()
        self.looks = asyncio.Semaphore(0)
        self.next = asyncio.Semaphore(0)

    def take(self, source: WatchSource, traffic: Traffic) -> None:
        assert source is ROUTER
        self.told.append(traffic)

    async def wait(self, stop: asyncio.Event, _seconds: float) -> bool:
        """Stand in for the pause between looks."""
        self.looks.release()
        await self.next.acquire()
        return not stop.is_set()

    async def look(self, *tables: str) -> list[str | None]:
        """Have it look at one table after the other, and return the trouble after each."""
        troubles: list[str | None] = []
        async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
            for number, table in enumerate(tables):
                self.table.write_text(table)
                if number == 0:
                    group.create_task(self.watch.listen(self.take, self.stop), name="watch")
                else:
                    self.next.release()
                await self.looks.acquire()
                troubles.append(self.tallies.of("router").trouble)
            self.stop.set()
            self.next.release()
        return troubles


@pytest.fixture
def trial(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Trial:
    made = Trial(tmp_path)
    monkeypatch.setattr(connections_watch, "pause", made.wait)
    return made


async def test_a_connection_is_told_when_it_is_new_and_when_it_is_answered(trial: Trial) -> None:
    troubles = await trial.look(UNANSWERED, UNANSWERED, ANSWERED, ANSWERED)

    assert [(one.is_answered, one.packets, one.back_packets) for one in trial.told] == [(False, 1, 0), (True, 1, 1)]
    assert {(str(one.sender), str(one.receiver), one.initiator) for one in trial.told} == {
        ("192.0.2.17", "203.0.113.9", "sender")
    }
    assert trial.tallies.of("router").heard == 4
    assert troubles == [None] * 4


async def test_without_counts_a_connection_is_told_and_heard_and_what_is_missing_noted(trial: Trial) -> None:
    trial.counts.write_text("0\n")
    unanswered, answered = (COUNTS.sub("", line) for line in (UNANSWERED, ANSWERED))

    troubles = await trial.look(unanswered, answered, answered)

    assert [(one.is_answered, one.packets, one.back_packets) for one in trial.told] == [(False, 0, 0), (True, 0, 0)]
    assert troubles == [None] * 3
    assert trial.watch.note is not None
    assert trial.watch.note.startswith("router: how many packets and octets a connection had is not counted")
    assert "net.netfilter.nf_conntrack_acct = 1" in trial.watch.note


async def test_of_a_table_with_counts_nothing_is_noted(trial: Trial) -> None:
    await trial.look(ANSWERED)

    assert trial.watch.note is None


async def test_a_table_that_was_always_empty_is_said_and_one_that_is_empty_now_is_not(trial: Trial) -> None:
    troubles = await trial.look("", ANSWERED, "")

    assert troubles[0] is not None
    assert "the connection table is empty" in troubles[0]
    assert troubles[1:] == [None, None]


async def test_a_refusal_of_both_ways_is_said(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_source: str, _now: datetime) -> Iterator[Connection]:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(connections_netlink, "connections", refuse)
    monkeypatch.setattr(trial.watch, "_table", trial.table.with_name("missing"))

    [trouble] = await trial.look("")

    assert trouble == (
        "the connection table may not be read. Give this service the capability CAP_NET_ADMIN on the router,"
        " or name another source"
    )


async def test_what_was_read_before_the_kernel_failed_is_told(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    looks = iter([OSError(105, "No buffer space available"), None])

    def fail_once(source: str, now: datetime) -> Iterator[Connection]:
        connection = connection_of(UNANSWERED, source, now)
        assert connection is not None
        yield connection
        failure = next(looks)
        if failure is not None:
            raise failure

    monkeypatch.setattr(connections_netlink, "connections", fail_once)
    monkeypatch.setattr(trial.watch, "_table", trial.table.with_name("missing"))

    troubles = await trial.look("", "")

    assert [one is None for one in troubles] == [False, True]
    assert [str(one.receiver) for one in trial.told] == ["203.0.113.9"]


async def test_lines_that_tell_no_connection_are_counted(trial: Trial) -> None:
    await trial.look(f"nonsense\n{ANSWERED}\xff\n".encode().decode("latin-1"))

    assert len(trial.told) == 1
    assert trial.tallies.of("router").refused == 2


async def test_a_table_beyond_the_bound_is_counted_as_lost(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections_watch, "MAX_LINES", 2)
    table = "".join(UNANSWERED.replace("sport=40000", f"sport={port}") for port in range(5))

    await trial.look(table)

    assert len(trial.told) == 2
    assert trial.tallies.of("router").lost == 3


async def test_it_ends_at_once_however_long_it_would_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections_watch, "LOOK_S", 3600.0)
    has_looked, stop = asyncio.Event(), asyncio.Event()

    async def wait(stop: asyncio.Event, seconds: float) -> bool:
        has_looked.set()
        return await pause(stop, seconds)

    monkeypatch.setattr(connections_watch, "pause", wait)
    watch = Trial(tmp_path).watch
    listening = asyncio.create_task(watch.listen(lambda *_: None, stop))
    await has_looked.wait()

    stop.set()

    await asyncio.wait_for(listening, 1.0)
