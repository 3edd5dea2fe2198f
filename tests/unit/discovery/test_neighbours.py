"""Which entries of a neighbour table name a device, and what is told of them."""

import asyncio
import errno
import sys
from collections.abc import AsyncIterator, Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_network
from typing import Any

import pytest

from pattress.discovery import neighbours
from pattress.discovery.neighbours import NeighbourSource, neighbour_of, sighting_of
from pattress.model.device import Sighting
from pattress.model.site import Networks
from pattress.model.source import SourceReport

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)
DEVICES = (ip_network("192.0.2.0/24"), ip_network("2001:db8::/64"))
REACHABLE, STALE = 0x02, 0x04


class Message(dict[str, Any]):
    """A message of the kernel, as the library gives it."""

    def get_attr(self, name: str) -> Any:
        return self.get(name)


def message(address: str | None = "192.0.2.7", state: int = REACHABLE, **more: Any) -> Message:
    fields = {"event": "RTM_NEWNEIGH", "ifindex": 1, "state": state, "flags": 0, "dst": address}
    return Message(fields | {"lladdr": "02:00:5e:00:53:07", "NDA_CACHEINFO": {"ndm_confirmed": 250}} | more)


class Tables:
    """A kernel: what each reading of the tables gives, and what comes of changes after it."""

    def __init__(self, *steps: Sequence[Message] | Exception) -> None:
        self._steps = list(steps)
        self.is_idle = asyncio.Event()
        self.is_bound = self.is_closed = False
        self.readings = 0

    async def __aenter__(self) -> "Tables":
        return self

    async def __aexit__(self, *_: object) -> None:
        self.is_closed = True

    async def bind(self, groups: int) -> None:
        self.is_bound = True

    async def neigh(self, command: str) -> AsyncIterator[Message]:
        assert self.is_bound, "a change between reading and binding would be lost"
        self.readings += 1
        return self._next()

    def get(self) -> AsyncIterator[Message]:
        return self._next()

    async def _next(self) -> AsyncIterator[Message]:
        if not self._steps:
            self.is_idle.set()
            await asyncio.Event().wait()
        step = self._steps.pop(0)
        if isinstance(step, Exception):
            raise step
        for one in step:
            yield one


class NetlinkError(Exception):
    """Stands for the library's."""


class InterruptedDumpError(NetlinkError):
    """Stands for the library's."""


class Library:
    """Stands for the library."""

    group = 4
    errors = NetlinkError
    interrupted = InterruptedDumpError

    def __init__(self, tables: Tables) -> None:
        self.open = lambda: tables


async def heard(tables: Tables, monkeypatch: pytest.MonkeyPatch) -> tuple[list[Sighting], SourceReport]:
    """Listen on `tables` until nothing more comes of them, or listening ends by itself."""
    monkeypatch.setattr(neighbours, "_library", lambda: Library(tables))
    monkeypatch.setattr(neighbours, "interfaces_inside", lambda *_: ("lo",))
    told: list[Sighting] = []
    stop = asyncio.Event()
    source = NeighbourSource(Networks(devices=DEVICES, inside=DEVICES), lambda: NOW)
    async with asyncio.timeout(5), asyncio.TaskGroup() as group:
        listening = group.create_task(source.listen(told.append, stop), name="listen")
        idle = group.create_task(tables.is_idle.wait(), name="idle")
        await asyncio.wait((listening, idle), return_when=asyncio.FIRST_COMPLETED)
        idle.cancel()
        stop.set()
    (report,) = listening.result()
    return told, report


def test_a_reachable_neighbour_was_there_when_it_last_answered() -> None:
    neighbour = neighbour_of(message())
    assert neighbour is not None

    sighting = sighting_of(neighbour, NOW)

    assert sighting == Sighting(
        source="neighbour",
        seen_at=NOW - timedelta(seconds=2.5),
        address="192.0.2.7",
        mac="02:00:5e:00:53:07",
        channel="neighbour table on lo",
        details={"state": "reachable"},
    )


@pytest.mark.parametrize(
    ("state", "word"), [(STALE, "stale"), (0x08, "delay"), (0x10, "probe"), (0x80, "permanent")], ids=str
)
def test_a_neighbour_in_doubt_is_of_any_age(state: int, word: str) -> None:
    neighbour = neighbour_of(message(state=state))
    assert neighbour is not None

    sighting = sighting_of(neighbour, NOW)

    assert (sighting.is_dated, sighting.seen_at, sighting.details) == (False, NOW, {"state": word})


@pytest.mark.parametrize(
    "entry",
    [
        message(state=0x00),
        message(state=0x01),  # incomplete
        message(state=0x20),  # failed
        message(state=0x40),  # needs no asking
        message(event="RTM_DELNEIGH"),
        message(flags=0x08),  # answered for by this host
        message(lladdr=None),
        message(lladdr="00:00:00:00:00:00"),
        message(lladdr="33:33:00:00:00:16"),
        message(lladdr="80:00:00:48:fe:80:00:00:00:00:00:00:f4:52:14:03:00:7b:cb:a1"),  # InfiniBand
        message(None),
        message("ff02::16"),
        message("239.1.2.3"),
        message("0.0.0.0"),
        message(ifindex=999_999),
    ],
)
def test_an_entry_that_names_no_device_is_none(entry: Message) -> None:
    assert neighbour_of(entry) is None


def test_a_link_local_address_has_its_interface_as_zone() -> None:
    neighbour = neighbour_of(message("fe80::7"))

    assert neighbour is not None
    assert neighbour.shown_address == "fe80::7%lo"


async def test_neighbours_of_the_site_are_told_and_others_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    addresses = ["192.0.2.7", "198.51.100.7", "2001:db8::7", "2001:db8:1::7", "fe80::7", "169.254.1.7"]

    told, report = await heard(Tables([message(address) for address in addresses]), monkeypatch)

    assert [one.address for one in told] == ["192.0.2.7", "2001:db8::7", "fe80::7%lo"]
    assert (report.state, report.heard_count, report.is_needed) == ("heard", 3, False)
    assert report.detail == "3 addresses of the site, 3 of them reachable"


async def test_link_local_neighbours_of_other_interfaces_are_nobody_of_the_site(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tables = Tables([message("fe80::7")])
    monkeypatch.setattr(neighbours.socket, "if_indextoname", lambda _: "lan0")

    told, report = await heard(tables, monkeypatch)

    assert told == []
    assert report.state == "silent"
    assert "it names nobody of the site on lo. It fills as this host talks" in report.detail


async def test_a_neighbour_is_told_again_only_when_it_turns_out_to_be_there(monkeypatch: pytest.MonkeyPatch) -> None:
    changes = [message(state=STALE), message(state=0x08), message(), message(state=STALE), message()]

    told, report = await heard(Tables([message(state=STALE)], changes), monkeypatch)

    assert [one.details["state"] for one in told] == ["stale", "reachable"]
    assert report.detail == "1 addresses of the site, 1 of them reachable"


async def test_another_mac_at_an_address_is_another_neighbour(monkeypatch: pytest.MonkeyPatch) -> None:
    told, _ = await heard(Tables([message()], [message(lladdr="02:00:5e:00:53:08")]), monkeypatch)

    assert [one.mac for one in told] == ["02:00:5e:00:53:07", "02:00:5e:00:53:08"]


async def test_after_changes_were_lost_the_tables_are_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    tables = Tables([message()], OSError(errno.ENOBUFS, "no buffer space"), [message(), message("192.0.2.8")])

    told, report = await heard(tables, monkeypatch)

    assert tables.readings == 2
    assert [one.address for one in told] == ["192.0.2.7", "192.0.2.8"]
    assert report.state == "heard"


async def test_a_table_that_changed_while_it_was_read_is_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    told, report = await heard(Tables(InterruptedDumpError(), [message()]), monkeypatch)

    assert len(told) == 1
    assert report.state == "heard"


@pytest.mark.parametrize(
    "steps", [[OSError(errno.EPERM, "not permitted")], [NetlinkError("no")], [InterruptedDumpError("torn")] * 3]
)
async def test_a_kernel_that_refuses_is_a_failure_at_once(
    steps: list[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = Tables(*steps)

    told, report = await heard(tables, monkeypatch)

    assert told == []
    assert report.state == "failed"
    assert str(steps[0]) in report.detail
    assert "neighbours = false" in report.detail
    assert tables.is_closed


async def test_more_neighbours_than_the_limit_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(neighbours, "MAX_SIGHTINGS", 2)

    told, report = await heard(Tables([message(f"192.0.2.{number}") for number in range(1, 6)]), monkeypatch)

    assert len(told) == 2
    assert "3 changes over the limits were left out" in report.detail


async def test_another_system_is_a_failure_with_a_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(neighbours.sys, "platform", "darwin")

    reports = await NeighbourSource(Networks(devices=(), inside=()), lambda: NOW).listen(print, asyncio.Event())

    assert [report.state for report in reports] == ["failed"]
    assert "on Linux only, and this is darwin; set neighbours = false" in reports[0].detail


async def test_a_missing_library_is_a_failure_with_a_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyroute2", None)

    reports = await NeighbourSource(Networks(devices=(), inside=()), lambda: NOW).listen(print, asyncio.Event())

    assert [report.state for report in reports] == ["failed"]
    assert "the library pyroute2 cannot be imported" in reports[0].detail


@pytest.mark.skipif(sys.platform != "linux", reason="netlink is Linux's")
async def test_the_tables_of_this_host_are_read_without_any_right_and_closed_again() -> None:
    networks = Networks(devices=(ip_network("203.0.113.0/29"),), inside=())
    stop = asyncio.Event()
    stop.set()

    (report,) = await NeighbourSource(networks, lambda: NOW).listen(print, stop)

    assert report.state == "silent"
    assert "no interface of this host is in the device networks" in report.detail
