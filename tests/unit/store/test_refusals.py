"""A database failure says what, where and what to do; a mistake of ours does not hide behind one."""

import sqlite3
from pathlib import Path

import pytest

from pattress.model.errors import StoreError
from pattress.store.refusals import refusals_of

PATH = Path("house.db")


def failure(code: int, kind: type[sqlite3.DatabaseError] = sqlite3.OperationalError) -> sqlite3.DatabaseError:
    error = kind("as SQLite says it")
    error.sqlite_errorcode = code
    return error


@pytest.mark.parametrize(
    ("code", "what"),
    [
        (sqlite3.SQLITE_FULL, "the disk is full"),
        (sqlite3.SQLITE_BUSY, "locked"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "locked"),
        (sqlite3.SQLITE_CORRUPT, "damaged"),
        (sqlite3.SQLITE_READONLY_DIRECTORY, "may not be written"),
        (sqlite3.SQLITE_IOERR_FSYNC, "the disk failed"),
        (sqlite3.SQLITE_CANTOPEN_ISDIR, "cannot be opened"),
    ],
)
def test_a_failure_of_the_database_is_told_with_its_place_and_a_way_out(code: int, what: str) -> None:
    with pytest.raises(StoreError) as raised, refusals_of(PATH):
        raise failure(code)

    assert what in raised.value.what
    assert "as SQLite says it" in raised.value.what
    assert raised.value.where == "house.db"
    assert raised.value.next_step


@pytest.mark.parametrize(
    "error",
    [
        failure(sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY, sqlite3.IntegrityError),
        failure(sqlite3.SQLITE_ERROR),
        sqlite3.ProgrammingError("no code at all"),
    ],
)
def test_a_mistake_in_our_own_statements_passes_through(error: sqlite3.DatabaseError) -> None:
    with pytest.raises(type(error)) as raised, refusals_of(PATH):
        raise error

    assert raised.value is error
