"""Watching as it goes on: what is told, what is kept, what outlives a restart or a store that refuses."""

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path

import pytest

from pattress.daemon import watch as watch_module
from pattress.daemon.watch import Watch
from pattress.egress.whereabouts import Owner
from pattress.model.encounter import Alert, Company, Encounter, Hearing, Told
from pattress.model.errors import StoreError
from pattress.model.plan import Plan, Point
from pattress.model.site import Discovery, Networks, Site
from pattress.model.watching import Watching, WatchSource
from pattress.store.store import Store
from unit.audit.test_run import empty_site

MAC = "02:00:5e:00:53:07"
LINE = (
    "{prefix} IN=iot0 OUT=wan0 MAC=02:00:00:00:00:01:02:00:5e:00:53:07:08:00 SRC=10.20.0.7 DST={to} LEN=60 TTL=63 "
    "PROTO=TCP SPT=50000 DPT=443 SYN URGP=0\n"
)
NETWORK = (ip_network("10.20.0.0/24"),)


class Listener:
    """A person who is told, and takes note."""

    def __init__(self) -> None:
        self.alerts: list[tuple[str, str, bool]] = []
        self.due: list[tuple[str, int]] = []
        self.notes: list[str] = []
        self.was_told = asyncio.Event()
        self.was_noted = asyncio.Event()

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        self.alerts.append((owner.title, alert.told.kind, says_off))
        self.was_told.set()

    def daily(self, due: Sequence[tuple[Told, Owner]]) -> None:
        self.due += [(told.kind, told.count - told.told_count) for told, _ in due]

    def note(self, text: str) -> None:
        self.notes.append(text)
        self.was_noted.set()


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Site:
    monkeypatch.setattr(watch_module, "TELL_S", 0.05)
    (tmp_path / "firewall.log").touch()
    source = WatchSource(
        name="router-log", kind="firewall", file=tmp_path / "firewall.log",
        verdicts={"iot-drop": "dropped", "iot-pass": "let-through"},
    )  # fmt: skip
    return replace(
        empty_site(tmp_path),
        networks=Networks(devices=NETWORK, inside=NETWORK, outside=(ip_network("203.0.113.0/24"),)),
        plan=Plan(points=(Point(name="hall-lights", room="Hall", kind="k", mac=MAC, address="10.20.0.7"),)),
        discovery=Discovery(neighbours=False),
        watching=Watching(sources=(source,)),
    )


@asynccontextmanager
async def watching(site: Site, told: Listener) -> AsyncIterator[Callable[[str], None]]:
    """Watch for the block. Given is what writes a line of the filter's log."""
    stop = asyncio.Event()
    async with Store.open(site.folder / "pattress.db") as store, asyncio.TaskGroup() as group:
        group.create_task(Watch(site, store, told, lambda: datetime.now(UTC)).run(stop))
        try:
            yield lambda prefix: write(site, prefix)
        finally:
            stop.set()


def write(site: Site, prefix: str, to: str = "203.0.113.9") -> None:
    with (site.folder / "firewall.log").open("a", encoding="utf-8") as log:
        log.write(LINE.format(prefix=prefix, to=to))


async def kept(site: Site) -> list[tuple[str, str, int]]:
    async with Store.open(site.folder / "pattress.db") as store:
        return sorted((one.kind, one.device, one.count) for one in await store.encounters())


async def told_once(told: Listener, write: Callable[[str], None]) -> None:
    """Write until it is told: what was in the file before it was followed is not new."""
    async with asyncio.timeout(10):
        while not told.was_told.is_set():
            write("iot-pass")
            await asyncio.sleep(0.2)


async def test_what_is_reached_is_told_and_kept_and_what_was_tried_is_told_at_the_end(site: Site) -> None:
    told = Listener()

    async with watching(site, told) as log:
        await told_once(told, log)
        log("iot-drop")
        await asyncio.sleep(1.2)  # a look at the file comes each half second

    assert told.alerts == [("hall-lights", "reached", False)]
    assert ("tried", 1) in told.due
    assert {(kind, device) for kind, device, _ in await kept(site)} == {
        (kind, f"mac:{MAC}") for kind in ("reached", "tried")
    }


async def test_a_restart_tells_nothing_twice_and_misses_no_line(site: Site) -> None:
    first, second = Listener(), Listener()
    async with watching(site, first) as log:
        await told_once(first, log)
        await asyncio.sleep(1.2)
    before = {kind: count for kind, _, count in await kept(site)}
    write(site, "iot-pass")
    write(site, "iot-pass", to="198.51.100.1")

    async with watching(site, second):
        await asyncio.sleep(1.5)

    assert second.alerts == []
    after = {kind: count for kind, _, count in await kept(site)}
    assert after["reached"] == before["reached"] + 1, "written while nobody watched, and taken up from there"


async def test_a_store_that_refuses_stops_nobody_from_being_told_and_gets_it_later(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, real = Listener(), Store.keep_encounters
    is_full = True

    async def keep(
        self: Store, encounters: Sequence[Encounter], heard: Sequence[Hearing], company: Sequence[Company]
    ) -> None:
        if is_full:
            raise StoreError("the disk is full", where="pattress.db", next_step="Free some space.")
        await real(self, encounters, heard, company)

    monkeypatch.setattr(Store, "keep_encounters", keep)

    async with watching(site, told) as log:
        await told_once(told, log)
        async with asyncio.timeout(5):
            await told.was_noted.wait()
        is_full = False

    assert told.alerts == [("hall-lights", "reached", False)]
    assert "the disk is full" in told.notes[0]
    assert "the database keeps again" in told.notes[-1]
    assert [kind for kind, _, _ in await kept(site)] == ["reached"]


async def test_a_log_that_is_not_there_is_said_once_and_that_it_works_again(site: Site) -> None:
    told = Listener()
    (site.folder / "firewall.log").unlink()

    async with watching(site, told) as log:
        async with asyncio.timeout(10):
            await told.was_noted.wait()
        await told_once(told, log)

    assert "router-log: there is no file" in told.notes[0]
    assert told.notes[1] == "router-log: works again"
