"""A copy of a database, made while it is in use, and verified before it gets its name.

What belongs here: copying. What does not: when.
"""

import contextlib
import sqlite3
from pathlib import Path

from sqlite_utils import Database

from pattress.model.errors import StoreError
from pattress.store.examine import problems_of, row_counts
from pattress.store.files import new_file
from pattress.store.opening import open_database
from pattress.store.refusals import refusals_of


def back_up(path: Path, target: Path) -> int:
    """Copy a database of any schema to a new file, as it is at this moment, and return the size of that in bytes.

    The copy is one file without a log, readable from a disk that may not be written. It has its name only once all
    of it is on the disk and SQLite has found it sound, with as many rows in each table as were copied.

    Raises:
        StoreError: If the database cannot be read or is damaged, or the file is there or cannot be written.
    """
    source = open_database(path, is_read_only=True, takes_any_schema=True)
    try:
        with new_file(target) as part, refusals_of(path), source.atomic():  # what is counted is what is copied
            expected = row_counts(source)
            with refusals_of(target), contextlib.closing(_copied(source.conn, part)) as copy:
                _verify(copy, expected, target)
        return target.stat().st_size
    finally:
        source.close()


def _copied(source: sqlite3.Connection, part: Path) -> sqlite3.Connection:
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    except BaseException:
        copy.close()
        raise
    return copy


def _verify(copy: sqlite3.Connection, expected: dict[str, int], target: Path) -> None:
    database = Database(copy, execute_plugins=False)
    problem = next(problems_of(database), None)
    if problem is None and row_counts(database) != expected:
        problem = "it has not as many rows as the database"
    if problem is not None:
        raise StoreError(
            f"the copy is not sound ({problem})",
            where=str(target),
            next_step="Run `pattress store check` and check the disk. No copy was left behind",
        )
