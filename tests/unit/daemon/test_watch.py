"""Watching as it goes on: what is told, what is kept, what outlives a restart or a store that refuses."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from ipaddress import ip_network
from pathlib import Path
from typing import Any

import pytest

from pattress.daemon import listeners
from pattress.daemon import watch as watch_module
from pattress.daemon.desk import Desk, Taken
from pattress.daemon.watch import Watch
from pattress.egress import connections_watch
from pattress.egress.connections_watch import ConnectionsWatch
from pattress.egress.whereabouts import Owner
from pattress.model.encounter import Alert, Company, Encounter, Told
from pattress.model.errors import StoreError
from pattress.model.kept import Span
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


async def read_from_the_start(site: Site, past: Sequence[Company] = ()) -> None:
    """Keep that nothing was read of the log yet, and a past."""
    place = {"inode": (site.folder / "firewall.log").stat().st_ino, "offset": 0}
    async with Store.open(site.folder / "pattress.db") as store:
        await store.keep_encounters([], [], past, places={"router-log": json.dumps(place)})


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


async def test_a_connection_table_without_counts_is_heard_and_noted_once(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    (site.folder / "counts").write_text("0\n")
    (site.folder / "table").write_text(
        "ipv4     2 udp      17 29 src=10.20.0.7 dst=203.0.113.9 sport=40000 dport=123"
        " src=203.0.113.9 dst=198.51.100.1 sport=123 dport=40000 [ASSURED] mark=0 zone=0 use=2\n"
    )
    at = partial(ConnectionsWatch, table=site.folder / "table", counts=site.folder / "counts")
    monkeypatch.setattr(listeners, "ConnectionsWatch", at)
    monkeypatch.setattr(connections_watch, "LOOK_S", 0.05)
    source, told = WatchSource(name="router", kind="connections"), Listener()

    async with watching(replace(site, watching=Watching(sources=(source,))), told):
        async with asyncio.timeout(10):
            await told.was_told.wait()
            await told.was_noted.wait()
        await asyncio.sleep(0.3)

    async with Store.open(site.folder / "pattress.db") as store:
        heard = [one for one in await store.hearings() if one.source == "router"]
    assert told.alerts == [("hall-lights", "reached", False)]
    assert [one.split(" is not counted")[0] for one in told.notes] == [
        "router: how many packets and octets a connection had"
    ]
    assert sum(one.listened_s for one in heard) >= 0.2


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

    async def keep(self: Store, *kept: Any, **more: Any) -> None:
        if is_full:
            raise StoreError("the disk is full", where="pattress.db", next_step="Free some space.")
        await real(self, *kept, **more)

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


async def test_no_more_of_a_log_counts_as_read_than_was_kept_of_it(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    told, real, first_kept = Listener(), Store.keep_encounters, asyncio.get_running_loop().create_future()
    log = site.folder / "firewall.log"

    async def ask_long(_self: Store, _device: str, _setting: str) -> list[Span]:
        """The disk is slow, and the device goes on."""
        write(site, "iot-drop")
        await asyncio.sleep(1.2)  # a look at the file comes each half second
        return []

    async def keep(self: Store, encounters: Sequence[Encounter], *kept: Any, **more: Any) -> None:
        if encounters and not first_kept.done():
            read = log.read_bytes()[: json.loads(more["places"]["router-log"])["offset"]]
            first_kept.set_result((sum(one.count for one in encounters), read.count(b"\n")))
        await real(self, encounters, *kept, **more)

    monkeypatch.setattr(Store, "history", ask_long)
    monkeypatch.setattr(Store, "keep_encounters", keep)
    await read_from_the_start(site)
    write(site, "iot-pass")

    async with watching(site, told), asyncio.timeout(10):
        encounters, lines = await first_kept

    assert encounters == lines == 1


async def test_what_is_unlike_before_in_the_last_moment_is_told(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watch_module, "TELL_S", 3600.0)
    told, now = Listener(), datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    past = [Company(device=f"mac:{MAC}", hour=now - timedelta(days=days), hosts=1, ports=1) for days in (8, 1)]
    await read_from_the_start(site, past)
    for host in range(20, 40):
        write(site, "iot-pass", to=f"10.20.0.{host}")

    async with watching(site, told):
        await asyncio.sleep(1.2)  # a look at the file comes each half second

    assert told.alerts == [("hall-lights", "unlike-before", False)]


async def test_that_somebody_listens_is_on_record_within_seconds(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    real, first_kept = Store.keep_encounters, asyncio.get_running_loop().create_future()

    async def keep(self: Store, *kept: Any, **more: Any) -> None:
        await real(self, *kept, **more)
        if not first_kept.done():
            first_kept.set_result(await self.hearings())

    monkeypatch.setattr(Store, "keep_encounters", keep)
    began_at = datetime.now(UTC)

    async with watching(site, Listener()), asyncio.timeout(5):  # counts alone are kept once a minute later on
        [heard] = await first_kept

    assert heard.source == "router-log"
    assert heard.listened_from >= began_at
    assert heard.listened_s == pytest.approx((heard.listened_until - heard.listened_from).total_seconds(), abs=0.01)
    assert heard.listened_s > 0


async def test_a_log_that_is_not_there_is_said_once_and_that_it_works_again(site: Site) -> None:
    told = Listener()
    (site.folder / "firewall.log").unlink()

    async with watching(site, told) as log:
        async with asyncio.timeout(10):
            await told.was_noted.wait()
        await told_once(told, log)

    assert "router-log: there is no file" in told.notes[0]
    assert told.notes[1] == "router-log: works again"


async def test_senders_that_are_not_listed_are_told_of_once_an_hour(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, taken, take = Listener(), asyncio.Semaphore(0), Desk.take

    def take_strangers(self: Desk, now: datetime, *, is_last: bool = False) -> Taken:
        taken.release()
        return replace(take(self, now, is_last=is_last), strangers=3)

    monkeypatch.setattr(Desk, "take", take_strangers)

    async with watching(site, told), asyncio.timeout(10):
        for _ in range(5):
            await taken.acquire()

    first, *others = [int(text.split()[0]) for text in told.notes if "senders" in text]
    assert first == 3
    assert len(others) == 2, "and what had come since at the end, which takes twice"
    assert others[0] >= 12
