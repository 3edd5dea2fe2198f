"""What SQLite's error codes mean for a person, as `StoreError`.

What belongs here: the translation. What does not: retrying.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pattress.model.errors import StoreError


@contextmanager
def refusals_of(path: Path) -> Iterator[None]:
    """Give the block's database failures as `StoreError`; a mistake in our own statements passes through as it is."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", None)
        # The low byte is the primary code; few of the finer ones mean something else.
        meaning = (_FINER_MEANINGS.get(code) or _MEANINGS.get(code & 0xFF)) if code is not None else None
        if meaning is None:
            raise
        what, next_step = meaning
        raise StoreError(f"{what} ({error})", where=str(path), next_step=next_step) from error


def corrupt(path: Path, detail: str) -> StoreError:
    """Return the error for a file whose pages contradict one another."""
    what, next_step = _MEANINGS[sqlite3.SQLITE_CORRUPT]
    return StoreError(f"{what} ({detail})", where=str(path), next_step=next_step)


def newer_schema(path: Path, number: int, newest: int) -> StoreError:
    """Return the error for a database that a later version of the program wrote."""
    return StoreError(
        f"the database has schema {number}, and this version of the program knows schemas up to {newest}",
        where=str(path),
        next_step="Use the newer version of the program that wrote it. The file has been left as it was",
    )


def older_schema(path: Path, number: int, newest: int) -> StoreError:
    """Return the error for a database that would have to be changed before it can be shown."""
    return StoreError(
        f"the database has schema {number} and is opened only to be read, but this program reads schema {newest}",
        where=str(path),
        next_step="Run an audit once: it brings the database up to date and keeps what is in it",
    )


def foreign_database(path: Path) -> StoreError:
    """Return the error for a database that another program made."""
    return StoreError(
        "this SQLite database belongs to another program",
        where=str(path),
        next_step="Name another file as the store of this site. The file has been left as it was",
    )


def missing(path: Path) -> StoreError:
    """Return the error for a database that was to be read and is not there."""
    return StoreError("there is no database yet", where=str(path), next_step="Run an audit first: it makes one")


def no_write_ahead_log(path: Path, mode: str) -> StoreError:
    """Return the error for a file system on which the database cannot be kept safely."""
    return StoreError(
        f"the file system allows no write-ahead log (SQLite stayed in mode {mode!r})",
        where=str(path),
        next_step="Keep the store on a local disk, not on a network share",
    )


_MEANINGS: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_NOTADB: (
        "this file is not a database",
        "Name another file as the store of this site, or move this one aside. It has been left as it was",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "the database is damaged",
        "Check the disk, move the file aside (it may be repairable) with its -wal and -shm files, and put a backup"
        " in its place or begin a new one",
    ),
    sqlite3.SQLITE_BUSY: (
        "another program holds the database locked",
        "Let the other program end and run the command again",
    ),
    sqlite3.SQLITE_LOCKED: (
        "another program holds the database locked",
        "Let the other program end and run the command again",
    ),
    sqlite3.SQLITE_FULL: (
        "the disk is full; what was kept before is safe",
        "Free a few megabytes on it and run the command again. Reading still works, and so does"
        " `pattress store backup` to another disk",
    ),
    sqlite3.SQLITE_READONLY: (
        "the database may not be written",
        "Give this user the right to write the file and its folder, or run as the user that the audit runs as",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the database cannot be opened",
        "See that the folder is there and that this user may write in it; SQLite needs that even to read",
    ),
    sqlite3.SQLITE_PERM: (
        "the database may not be opened",
        "Give this user the right to read and write the file and its folder",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk failed while the database was used; what was kept before is safe",
        "Check the disk and run the command again",
    ),
    sqlite3.SQLITE_NOLFS: (
        "the file system cannot hold so large a file",
        "Keep the store on another disk",
    ),
}

_FINER_MEANINGS: dict[int, tuple[str, str]] = {
    # The file that SQLite shares between readers and writers could not be made as large as it must be.
    sqlite3.SQLITE_IOERR_SHMSIZE: _MEANINGS[sqlite3.SQLITE_FULL],
}
