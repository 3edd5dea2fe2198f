"""Opening, sharing, losing and closing the file."""

import asyncio
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from sqlite_utils import Database

from pattress.model.errors import StoreError
from pattress.store import opening
from pattress.store.migrations import MIGRATIONS, Migration
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask, files_in, minutes, snapshot
from unit.store.disks import mount

WRITE_LOOP = Path(__file__).with_name("write_loop.py")


def store_threads() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("store")]


async def make(path: Path) -> None:
    async with Store.open(path) as store:
        await store.begin_run(NIGHT, "digest")


def lock(path: Path) -> sqlite3.Connection:
    """The write lock of a database, until rolled back."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return other


def writing(path: Path, device: str, first: int, count: int) -> subprocess.Popen[str]:
    """A process that keeps `count` readings and says the number of each once it is kept."""
    command = [sys.executable, str(WRITE_LOOP), str(path), device, str(first), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


async def fill(store: Store, run: int) -> tuple[int, StoreError]:
    """Keep readings until the store refuses one; return how many it kept, and its refusal."""
    for kept in range(5000):
        try:
            await store.keep_readings(run, [snapshot({"net.ssid": f"{kept:0500}"}, at=minutes(kept))])
        except StoreError as error:
            return kept, error
    raise AssertionError("a disk of one megabyte took everything")


async def restarts_kept(path: Path, *, read_only: bool) -> set[int | float]:
    async with Store.open(path, read_only=read_only) as store:
        return {reading.measurements["health.restarts"] for reading in await store.readings_of(HALL, limit=1_000_000)}


async def test_closing_twice_is_as_good_as_once_and_ends_the_thread(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        assert len(store_threads()) == 1

        await asyncio.gather(store.close(), store.close())
        await store.close()

        assert store_threads() == []
    assert store_threads() == []


async def test_a_close_that_was_cancelled_is_still_done(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        holder = lock(path)
        (thread,) = [one for one in threading.enumerate() if one.name.startswith("store")]
        writing = asyncio.create_task(store.begin_run(NIGHT, "digest"), name="write")
        closing = asyncio.create_task(store._connection.close(), name="close")
        await asyncio.sleep(0)  # both are on their way; the write holds the thread

        closing.cancel()
        holder.execute("ROLLBACK")
        holder.close()
        await writing
        thread.join(timeout=5)

        assert closing.cancelled()
        assert not thread.is_alive()
        assert files_in(tmp_path) == ["house.db"]


async def test_an_error_in_the_block_still_closes_the_file(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        async with Store.open(tmp_path / "house.db"):
            raise KeyError

    assert store_threads() == []
    assert files_in(tmp_path) == ["house.db"]


async def test_the_event_loop_goes_on_while_a_write_waits_for_the_lock(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as writer, Store.open(path, read_only=True) as reader:
        holder = lock(path)
        waiting = asyncio.create_task(writer.begin_run(NIGHT, "digest"), name="begin a run")

        assert await reader.runs() == []
        assert not waiting.done()
        holder.execute("ROLLBACK")
        holder.close()
        run = await waiting

        assert [kept.id for kept in await reader.runs()] == [run]


async def test_a_lock_that_is_held_too_long_is_said_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_TIMEOUT_S", 0.05)
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        holder = lock(path)

        with pytest.raises(StoreError, match="another program holds the database locked"):
            await store.keep_readings(run, [snapshot()])

        holder.execute("ROLLBACK")
        holder.close()
        await store.keep_readings(run, [snapshot()])
        assert len(await store.readings_of(HALL)) == 1


async def test_opening_a_locked_database_is_an_error_and_leaves_no_thread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BUSY_TIMEOUT_S", 0.05)
    path = tmp_path / "house.db"
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")

    with pytest.raises(StoreError, match="locked"):
        async with Store.open(path):
            pass

    other.close()
    assert store_threads() == []


async def test_two_stores_that_write_at_once_both_succeed(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as one, Store.open(path) as other:
        runs = await asyncio.gather(*(store.begin_run(NIGHT, "digest") for store in (one, other) * 20))

        assert sorted(runs) == list(range(1, 41))
        assert len(await one.runs(limit=100)) == 40


def test_two_processes_that_make_and_write_one_database_both_succeed(tmp_path: Path) -> None:
    path, count = tmp_path / "house.db", 60
    processes = [writing(path, device, 0, count) for device in ("serial:S1", "serial:S2", "serial:S3")]

    outputs = [process.communicate(timeout=120)[0] for process in processes]

    assert [process.returncode for process in processes] == [0, 0, 0]
    assert [len(output.split()) for output in outputs] == [count] * 3
    assert ask(path, "SELECT count(*) FROM reading") == [(3 * count,)]
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


def test_a_killed_process_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    acknowledged: set[int] = set()

    for round_number in range(10):
        first = round_number * 100_000
        process = writing(path, HALL, first, 100_000)
        assert process.stdout is not None
        for _ in range(1 + round_number * 7):
            acknowledged.add(int(process.stdout.readline()))
        process.kill()
        # What it said until the kill counts too. A number that was cut off half way was not said.
        acknowledged.update(int(line) for line in process.stdout.read().splitlines(keepends=True) if line[-1] == "\n")
        assert process.wait() == -signal.SIGKILL
        process.stdout.close()

    assert ask(path, "PRAGMA integrity_check") == [("ok",)]
    assert ask(path, "PRAGMA foreign_key_check") == []
    assert len(acknowledged) > 300
    assert acknowledged <= asyncio.run(restarts_kept(path, read_only=False))


def test_what_a_killed_process_left_can_be_read_without_writing(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    process = writing(path, HALL, 0, 100_000)
    assert process.stdout is not None
    last = [int(process.stdout.readline()) for _ in range(20)][-1]
    process.kill()
    process.communicate()

    assert last in asyncio.run(restarts_kept(path, read_only=True))


@pytest.mark.parametrize(
    "content",
    [b"name = 'Larkspur Mill'\n" * 100, b"SQLite format 3\0" + b"\xff" * 4080],
    ids=["a text file", "a header and nothing good"],
)
async def test_a_file_that_is_no_database_is_left_as_it_was(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    path.write_bytes(content)

    with pytest.raises(StoreError, match="not a database") as raised:
        async with Store.open(path):
            pass

    assert raised.value.where == str(path)
    assert path.read_bytes() == content


async def test_a_damaged_database_is_said_and_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot(at=minutes(minute)) for minute in range(500)])
    content = bytearray(path.read_bytes())
    page = int(str(ask(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'")[0][0]))
    content[(page - 1) * 4096 : (page - 1) * 4096 + 200] = b"\xa5" * 200
    path.write_bytes(content)

    for reads_at_least in (False, True):
        with pytest.raises(StoreError, match="damaged"):
            async with Store.open(path, reads_at_least=reads_at_least):
                pass

    assert path.read_bytes() == content


async def test_a_newer_schema_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path):
        pass
    ask(path, "PRAGMA user_version = 99")
    content = path.read_bytes()

    for read_only in (False, True):
        with pytest.raises(StoreError, match="schema 99, and this version of the program knows schemas up to"):
            async with Store.open(path, read_only=read_only):
                pass

    assert path.read_bytes() == content


async def test_a_database_of_another_program_is_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "songs.db"
    ask(path, "CREATE TABLE song (title TEXT)")
    content = path.read_bytes()

    with pytest.raises(StoreError, match="belongs to another program"):
        async with Store.open(path):
            pass

    assert path.read_bytes() == content


async def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be opened"):
        async with Store.open(tmp_path / "nowhere" / "house.db"):
            pass

    assert store_threads() == []


async def test_a_path_with_odd_characters_is_that_path(tmp_path: Path) -> None:
    path = tmp_path / "a?mode=memory&b#c%20 d.db"

    async with Store.open(path) as store:
        await store.begin_run(NIGHT, "digest")

    assert files_in(tmp_path) == [path.name]


async def test_a_full_disk_is_said_and_what_was_kept_is_there(small_disk: Path) -> None:
    path = small_disk / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        kept, refusal = await fill(store, run)

        assert "the disk is full" in refusal.what
        assert refusal.where == str(path)
        assert kept > 10
        assert len(await store.readings_of(HALL, limit=10_000)) == kept
        mount(small_disk, "remount,size=8m")
        await store.keep_readings(run, [snapshot(at=minutes(kept))])
        assert len(await store.readings_of(HALL, limit=10_000)) == kept + 1
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


async def test_a_file_system_that_may_not_be_written_is_said(small_disk: Path) -> None:
    path = small_disk / "house.db"
    async with Store.open(path):
        pass
    content = path.read_bytes()
    mount(small_disk, "remount,ro")

    with pytest.raises(StoreError) as raised:
        async with Store.open(path):
            pass

    assert raised.value.where == str(path)
    assert "right to write" in raised.value.next_step or "may write" in raised.value.next_step
    assert path.read_bytes() == content


@pytest.mark.skipif(os.geteuid() != 0, reason="taking another user's place needs root")
def test_a_file_of_another_user_is_said(tmp_path: Path) -> None:
    asyncio.run(make(tmp_path / "house.db"))
    code = (
        "import asyncio, os, sys; from pathlib import Path\n"
        "from pattress.model.errors import StoreError; from pattress.store.store import Store\n"
        "async def main():\n"
        "    async with Store.open(Path('house.db')) as store: await store.runs()\n"
        "asyncio.run(main())\n"
        "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "try: asyncio.run(main())\n"
        "except StoreError as error: sys.exit(f'StoreError: {error}')\n"
    )

    # The folder is entered, and all code loaded, before the rights are given up: no other user may pass the folders
    # above the one, and none may be able to read the other.
    ended = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert ended.stderr.startswith("StoreError: ")
    assert "Give this user the right" in ended.stderr or "this user may write" in ended.stderr


async def test_read_only_shows_what_is_there_and_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot()])
    content = path.read_bytes()

    async with Store.open(path, read_only=True) as store:
        assert len(await store.readings_of(HALL)) == 1
        with pytest.raises(StoreError, match="may not be written"):
            await store.begin_run(NIGHT, "digest")

    assert path.read_bytes() == content


async def test_read_only_makes_no_database(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no database yet"):
        async with Store.open(tmp_path / "house.db", read_only=True):
            pass

    assert files_in(tmp_path) == []


async def test_read_only_takes_an_empty_file_for_no_database(tmp_path: Path) -> None:
    (tmp_path / "house.db").touch()

    with pytest.raises(StoreError, match="no database yet"):
        async with Store.open(tmp_path / "house.db", read_only=True):
            pass


async def test_an_older_schema_is_brought_up_to_date_by_writing_and_never_by_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "house.db"
    await make(path)
    later = Migration(number=len(MIGRATIONS) + 1, name="later", steps=(f"PRAGMA user_version = {len(MIGRATIONS) + 1}",))
    monkeypatch.setattr(opening, "MIGRATIONS", (*MIGRATIONS, later))

    with pytest.raises(StoreError, match="opened only to be read") as raised:
        async with Store.open(path, read_only=True):
            pass

    assert "Run an audit once" in raised.value.next_step
    async with Store.open(path) as store:
        assert len(await store.runs()) == 1
    async with Store.open(path, read_only=True) as store:
        assert len(await store.runs()) == 1


def test_a_place_without_a_write_ahead_log_is_refused() -> None:
    database = Database(memory=True)

    with pytest.raises(StoreError, match="no write-ahead log"):
        opening._use_write_ahead_log(database, Path("house.db"))

    database.close()


async def test_read_only_shows_the_newest_while_another_store_writes(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as writer, Store.open(path, read_only=True) as reader:
        for count in range(1, 4):
            await writer.begin_run(NIGHT, "digest")

            assert len(await reader.runs()) == count


async def test_a_call_that_was_cancelled_while_it_waited_is_not_done(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        holder = lock(path)
        first = asyncio.create_task(store.begin_run(NIGHT, "first"), name="first")
        second = asyncio.create_task(store.begin_run(NIGHT, "second"), name="second")
        await asyncio.sleep(0)  # both are on their way; the first holds the thread

        second.cancel()
        await asyncio.wait([second])  # the loop has passed it on before the thread is free to begin with it
        holder.execute("ROLLBACK")
        holder.close()
        await first

        assert second.cancelled()
        assert [run.policy_digest for run in await store.runs()] == ["first"]


async def test_a_call_after_the_end_is_a_mistake_and_says_so(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        pass

    with pytest.raises(RuntimeError):
        await store.runs()


async def test_the_database_is_kept_with_a_write_ahead_log_and_foreign_keys(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        found = await store._connection.read(pragmas)

    expected = {"journal_mode": "wal", "foreign_keys": 1, "busy_timeout": 20_000, "trusted_schema": 0}
    assert {name: found[name] for name in expected} == expected


async def test_only_a_final_write_waits_for_the_disk(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        levels = [
            (await store._connection.write(pragmas, is_final=is_final))["synchronous"]
            for is_final in (False, True, False)
        ]

    assert levels == [1, 2, 1]  # NORMAL, FULL, NORMAL


def pragmas(database: Database) -> dict[str, object]:
    names = ("journal_mode", "foreign_keys", "busy_timeout", "synchronous", "trusted_schema")
    return {name: database.execute(f"PRAGMA {name}").fetchone()[0] for name in names}
