"""A disk that is full to the last block, or may not be written, can still be read from."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlite_utils import Database

from pattress.model.errors import StoreError
from pattress.store.backup import back_up
from pattress.store.opening import has_log, open_database
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask, minutes, snapshot
from unit.store.disks import fill, mount


async def make(path: Path, count: int = 20) -> None:
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        texts = [snapshot({"net.ssid": f"{number:0200}"}, at=minutes(number)) for number in range(count)]
        await store.keep_readings(run, texts)


async def count_of(path: Path) -> int:
    async with Store.open(path, read_only=True) as store:
        return len(await store.readings_of(HALL, limit=10_000))


async def test_a_disk_that_is_full_to_the_last_block_can_be_read_and_backed_up(
    small_disk: Path, tmp_path: Path
) -> None:
    path = small_disk / "house.db"
    await make(path)
    ballast = fill(small_disk)

    assert await count_of(path) == 20
    back_up(path, tmp_path / "copy.db")
    assert await count_of(tmp_path / "copy.db") == 20
    with pytest.raises(StoreError, match="the disk is full") as raised:
        await make(path)

    assert "pattress store backup" in raised.value.next_step
    ballast.unlink()
    await make(path)
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


async def test_a_file_system_that_may_not_be_written_can_be_read(small_disk: Path) -> None:
    path = small_disk / "house.db"
    await make(path)
    mount(small_disk, "remount,ro")

    assert await count_of(path) == 20


async def test_a_log_that_may_hold_more_is_never_passed_over(small_disk: Path) -> None:
    """The file alone would be the past; without room to read the log as well, it is said that nothing can be read."""
    path = small_disk / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot()])
        log = path.with_name("house.db-wal").read_bytes()
    path.with_name("house.db-wal").write_bytes(log)
    fill(small_disk)

    assert has_log(path)
    with pytest.raises(StoreError, match="the disk is full"):
        open_database(path, is_read_only=True)


async def test_a_full_disk_in_the_middle_goes_on_in_the_room_of_the_log(small_disk: Path) -> None:
    """Where the database itself need not grow, as when what comes takes the room of what was thinned."""
    path = small_disk / "house.db"
    await make(path)
    async with Store.open(path) as store:
        await store._connection.write(touch(0))
        fill(small_disk)

        for number in range(300):  # a page of the log each, and the log has room for a few
            await store._connection.write(touch(number))

        assert [known.port for known in await store.known_devices()] == [299]


def touch(port: int) -> Callable[[Database], object]:
    return lambda database: database.execute("UPDATE device SET port = ?", [port])


async def test_deleting_is_possible_while_the_disk_is_full(small_disk: Path) -> None:
    path = small_disk / "house.db"
    await make(path, count=100)
    async with Store.open(path) as store:
        await store.begin_run(NIGHT, "digest")
        fill(small_disk)

        deleted = await store._connection.write(delete_half)

    assert deleted == 50
    assert ask(path, "SELECT count(*) FROM reading") == [(50,)]


def delete_half(database: Database) -> int:
    before = database.conn.total_changes
    middle = int(minutes(50).timestamp() * 1000)
    database.execute("DELETE FROM reading WHERE taken_at < ?", [middle])
    return database.conn.total_changes - before


async def test_any_schema_is_taken_where_that_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    await make(path)
    for number in (1, 99):
        ask(path, f"PRAGMA user_version = {number}")
        with pytest.raises(StoreError, match="schema"):
            open_database(path, is_read_only=True)

        database = open_database(path, is_read_only=True, takes_any_schema=True)

        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            database.execute("DELETE FROM reading")
        database.close()
