"""Compacting gives space back and loses nothing; where there is no room for it, it does not begin."""

import os
from datetime import timedelta
from pathlib import Path

import pytest

from pattress.model.errors import StoreError
from pattress.model.kept import Retention
from pattress.store import compaction
from pattress.store.compaction import _temporary_folder
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask, minutes, snapshot
from unit.store.disks import fill
from unit.store.filled import NIGHTS, fill_with_everything

END = NIGHT + timedelta(days=NIGHTS)


async def make(path: Path, count: int) -> None:
    """So many readings, of 700 bytes each."""
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        texts = [snapshot({"net.ssid": f"{number:0500}"}, at=minutes(number)) for number in range(count)]
        await store.keep_readings(run, texts)


async def test_space_is_given_back_and_everything_else_stays(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    await fill_with_everything(path)
    async with Store.open(path) as store:
        for statement in ("CREATE TABLE spare AS SELECT zeroblob(100000) AS room", "DROP TABLE spare"):
            await store._connection.write(lambda database, statement=statement: database.execute(statement))
        await store.thin(END)
        before = [await store.readings_of(HALL, 10_000), await store.history(HALL), await store.runs()]

        done = await store.compact(END)

        assert [await store.readings_of(HALL, 10_000), await store.history(HALL), await store.runs()] == before
    assert done.thinned_count == 0
    assert done.bytes_after <= done.bytes_before - 90_000  # a page was free before
    assert path.stat().st_size == done.bytes_after
    assert ask(path, "PRAGMA freelist_count") == [(0,)]
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


async def test_what_has_aged_is_thinned_however_old_it_is(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        times = [NIGHT - timedelta(days=500) + timedelta(minutes=10 * number) for number in range(60)]
        await store.keep_readings(run, [snapshot({"meter.1.power_w": 1.5}, at=at) for at in times])
        for _ in range(7):
            run = await store.begin_run(NIGHT, "digest")
            await store.end_run(run, NIGHT, {})

        assert await store.thin(NIGHT) == 0, "it lies further back than an audit looks"
        done = await store.compact(NIGHT, Retention())

        assert done.thinned_count == 59


async def test_a_disk_without_room_is_said_before_anything_is_changed(small_disk: Path) -> None:
    path = small_disk / "house.db"
    await make(path, 20)
    content = path.read_bytes()

    async with Store.open(path) as store:
        with pytest.raises(StoreError, match=r"compacting needs \d+\.\d MiB free in") as raised:
            await store.compact(END)

    assert "Nothing was changed" in raised.value.next_step
    assert path.read_bytes() == content


async def test_a_disk_that_fills_up_meanwhile_loses_nothing(small_disk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = small_disk / "house.db"
    await make(path, 400)
    monkeypatch.setattr(compaction, "refuse_without_room", lambda database, path: None)
    monkeypatch.setattr("pattress.store.store.refuse_without_room", lambda database, path: None)
    fill(small_disk, leaving_bytes=100_000)

    async with Store.open(path) as store:
        with pytest.raises(StoreError, match="the disk is full"):
            await store.compact(END)

        assert len(await store.readings_of(HALL, 1000)) == 400
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


def test_the_temporary_folder_is_the_one_that_sqlite_takes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """sqlite.org/tempfiles.html, section 5: SQLITE_TMPDIR, TMPDIR, /var/tmp, /usr/tmp, /tmp, the current folder."""
    (tmp_path / "one").mkdir()
    monkeypatch.setattr(os, "environ", {"SQLITE_TMPDIR": str(tmp_path / "nowhere"), "TMPDIR": str(tmp_path / "one")})
    assert _temporary_folder() == tmp_path / "one"

    monkeypatch.setattr(os, "environ", {})
    assert _temporary_folder() == Path("/var/tmp")
