"""Looking through a whole database file: is it sound, and what is in it.

What belongs here: finding out, without changing anything. What does not: repairing.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

from sqlite_utils import Database

from pattress.model.kept import Examination
from pattress.store.close_ins import damaged_close_ins
from pattress.store.days import damaged_days
from pattress.store.encounter_rows import damaged_encounters
from pattress.store.migrations import MIGRATIONS, newest_number, schema_number
from pattress.store.opening import open_database
from pattress.store.refusals import refusals_of

MAX_PROBLEMS = 100


def examine(path: Path) -> Examination:
    """Return what is in a database, and every problem with it. It is only read; a damaged one is a result, no error.

    Raises:
        StoreError: If it cannot be opened, is no database or not ours.
    """
    database = open_database(path, is_read_only=True, takes_any_schema=True)
    try:
        with refusals_of(path):
            # All of it from one moment. It is never committed: of a damaged database SQLite would refuse even that.
            database.execute("BEGIN")
            return _examined(database, path)
    finally:
        database.close()


def row_counts(database: Database) -> dict[str, int]:
    """Return how many rows each of our tables has, by name."""
    names = database.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    ).fetchall()
    return {name: int(database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for (name,) in names}  # noqa: S608


def problems_of(database: Database) -> Iterator[str]:
    """Yield what is wrong with a database, in words."""
    for (found,) in database.execute(f"PRAGMA integrity_check({MAX_PROBLEMS:d})").fetchall():
        if found != "ok":
            yield str(found)
    for table, row, parent, _ in database.execute("PRAGMA foreign_key_check").fetchmany(MAX_PROBLEMS):
        which = "a row" if row is None else f"row {row}"  # most tables have rows without a number
        yield f"{which} of {table} refers to a row of {parent} that is not there"


def _examined(database: Database, path: Path) -> Examination:
    problems: list[str] = []
    rows: dict[str, int] = {}
    schema = schema_number(database)
    try:
        problems += problems_of(database)
        rows = row_counts(database)
        if "reading_day" in rows:
            problems += damaged_days(database)
        if "encounter" in rows:
            problems += damaged_encounters(database)
        if "close_in" in rows:
            problems += damaged_close_ins(database)
    except sqlite3.DatabaseError as error:  # where the damage is such that SQLite cannot even say what it is
        problems.append(str(error))
    log = path.with_name(path.name + "-wal")
    page_bytes, free_pages = (int(database.execute(f"PRAGMA {name}").fetchone()[0]) for name in _PRAGMAS)
    return Examination(
        problems=tuple(problems[:MAX_PROBLEMS]),
        schema=schema,
        newest_schema=newest_number(MIGRATIONS),
        sqlite_version=sqlite3.sqlite_version,
        size_bytes=path.stat().st_size,
        log_bytes=log.stat().st_size if log.exists() else 0,
        free_bytes=page_bytes * free_pages,
        rows=rows,
    )


_PRAGMAS = ("page_size", "freelist_count")
