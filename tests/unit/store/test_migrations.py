"""The schema goes from any known number to the newest, whole or not at all."""

import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database

from pattress.store.migrations import MIGRATIONS, Migration, is_foreign, migrate, newest_number, schema_number
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask
from unit.store.checked import keep_a_check
from unit.store.watched import TRIED, keep_all_sorts

NEXT = Migration(
    number=newest_number(MIGRATIONS) + 1,
    name="an example of the next one",
    steps=(
        "ALTER TABLE device ADD COLUMN room TEXT",
        "UPDATE device SET room = 'Hall'",
        f"PRAGMA user_version = {newest_number(MIGRATIONS) + 1}",
    ),
)


class FailingStepError(Exception):
    pass


def failing(database: Database) -> None:
    raise FailingStepError


def dump(path: Path) -> list[str]:
    connection = sqlite3.connect(path)
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        return [f"{version} {application}", *connection.iterdump()]
    finally:
        connection.close()


def connected(path: Path) -> Database:
    return Database(sqlite3.connect(path, isolation_level=None), execute_plugins=False)


def test_an_empty_file_gets_the_newest_schema_and_a_record_of_each_step(tmp_path: Path) -> None:
    database = connected(tmp_path / "house.db")

    migrate(database, MIGRATIONS, NIGHT)
    database.close()

    records = ask(tmp_path / "house.db", "SELECT number, name, applied_at FROM migration ORDER BY number")
    assert records == [(one.number, one.name, int(NIGHT.timestamp() * 1000)) for one in MIGRATIONS]
    assert ask(tmp_path / "house.db", "PRAGMA user_version") == [(newest_number(MIGRATIONS),)]


def test_migrating_twice_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    database = connected(path)
    migrate(database, MIGRATIONS, NIGHT)
    before = dump(path)

    migrate(database, MIGRATIONS, NIGHT.replace(year=2030))
    database.close()

    assert dump(path) == before


def test_numbers_count_from_one_without_a_gap() -> None:
    assert [migration.number for migration in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_rows_are_still_there_after_the_next_migration(tmp_path: Path) -> None:
    database = connected(tmp_path / "house.db")
    migrate(database, MIGRATIONS, NIGHT)
    database.execute("INSERT INTO device (id) VALUES ('name:hall')")

    migrate(database, (*MIGRATIONS, NEXT), NIGHT)

    assert list(database.query("SELECT id, room FROM device")) == [{"id": "name:hall", "room": "Hall"}]
    assert schema_number(database) == NEXT.number
    database.close()


async def test_a_database_of_an_earlier_schema_keeps_what_is_in_it_and_takes_all_sorts(tmp_path: Path) -> None:
    for earlier in range(1, newest_number(MIGRATIONS)):
        path = tmp_path / f"house-{earlier}.db"
        database = connected(path)
        migrate(database, MIGRATIONS[:earlier], NIGHT)
        database.execute("INSERT INTO device (id, first_seen, last_seen) VALUES (?, 0, 0)", [HALL])
        database.close()

        async with Store.open(path) as store:
            await keep_all_sorts(store)
            number = await keep_a_check(store)

            assert [known.id for known in await store.known_devices()] == [HALL]
            assert await store.encounters(since=NIGHT, device=HALL) == [TRIED]
            assert [one.id for one in await store.close_ins("hall-lights")] == [number]
        assert ask(path, "SELECT count(*) FROM migration") == [(newest_number(MIGRATIONS),)]


async def test_an_hour_of_an_earlier_schema_was_listened_to_at_any_part_of_it(tmp_path: Path) -> None:
    database = connected(tmp_path / "house.db")
    migrate(database, MIGRATIONS[:4], NIGHT)
    hour = NIGHT.replace(minute=0)
    database.execute("INSERT INTO word (key, text) VALUES (1, 'router')")
    database.execute("INSERT INTO hearing VALUES (1, ?, 3000000, 7, 0, 0, 0)", [int(hour.timestamp()) // 3600])
    database.close()

    async with Store.open(tmp_path / "house.db") as store:
        [heard] = await store.hearings(NIGHT)

    assert (heard.listened_from, heard.listened_until) == (hour, hour + timedelta(hours=1))
    assert heard.listened_within_s(hour, hour + timedelta(minutes=30)) == 1200.0


@pytest.mark.parametrize(
    ("migration", "position"),
    [(one, position) for one in (*MIGRATIONS, NEXT) for position in range(len(one.steps) + 1)],
    ids=lambda value: f"{value.number}" if isinstance(value, Migration) else f"step-{value}",
)
def test_a_migration_that_fails_at_any_step_leaves_the_schema_before_it(
    migration: Migration, position: int, tmp_path: Path
) -> None:
    path = tmp_path / "house.db"
    earlier = (*MIGRATIONS, NEXT)[: migration.number - 1]
    database = connected(path)
    migrate(database, earlier, NIGHT)
    before = dump(path)
    broken = replace(migration, steps=(*migration.steps[:position], failing, *migration.steps[position:]))

    with pytest.raises(FailingStepError):
        migrate(database, (*earlier, broken), NIGHT)

    assert dump(path) == before
    migrate(database, (*earlier, migration), NIGHT)
    assert schema_number(database) == migration.number
    database.close()


def test_a_migration_that_forgets_its_number_is_refused(tmp_path: Path) -> None:
    database = connected(tmp_path / "house.db")
    migrate(database, MIGRATIONS, NIGHT)
    before = dump(tmp_path / "house.db")

    with pytest.raises(ValueError, match="user_version"):
        migrate(database, (*MIGRATIONS, replace(NEXT, steps=NEXT.steps[:-1])), NIGHT)

    assert dump(tmp_path / "house.db") == before
    database.close()


KILLED = """
import os, signal, sqlite3, sys
from dataclasses import replace
from datetime import UTC, datetime
from sqlite_utils import Database
from pattress.store.migrations import MIGRATIONS, migrate

def die(database):
    os.kill(os.getpid(), signal.SIGKILL)

first, position = MIGRATIONS[0], int(sys.argv[2])
broken = replace(first, steps=(*first.steps[:position], die, *first.steps[position:]))
database = Database(sqlite3.connect(sys.argv[1], isolation_level=None), execute_plugins=False)
database.enable_wal()
migrate(database, (broken,), datetime.now(UTC))
"""


@pytest.mark.parametrize("position", [1, len(MIGRATIONS[0].steps) // 2, len(MIGRATIONS[0].steps)])
def test_a_process_killed_in_a_migration_leaves_the_schema_before_it(position: int, tmp_path: Path) -> None:
    path = tmp_path / "house.db"

    ended = subprocess.run([sys.executable, "-c", KILLED, str(path), str(position)], check=False, timeout=60)

    assert ended.returncode == -signal.SIGKILL
    assert ask(path, "SELECT count(*) FROM sqlite_schema") == [(0,)]
    database = connected(path)
    migrate(database, MIGRATIONS, NIGHT)
    assert schema_number(database) == newest_number(MIGRATIONS)
    database.close()


def test_a_database_of_another_program_is_told_apart(tmp_path: Path) -> None:
    theirs, ours, empty = (connected(tmp_path / name) for name in ("theirs.db", "ours.db", "empty.db"))
    theirs.execute("CREATE TABLE song (title TEXT)")
    migrate(ours, MIGRATIONS, NIGHT)

    assert [is_foreign(database) for database in (theirs, ours, empty)] == [True, False, False]
    for database in (theirs, ours, empty):
        database.close()
