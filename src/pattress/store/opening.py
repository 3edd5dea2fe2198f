"""Opening a database file: is it ours, is it sound, is its schema the one we know.

What belongs here: one connection and what is set on it. What does not: threads and transactions (see `connection`).
"""

import sqlite3
import time
from datetime import UTC, datetime
from pathlib import Path

from sqlite_utils import Database

from pattress.store.migrations import MIGRATIONS, is_foreign, migrate, newest_number, schema_number
from pattress.store.refusals import (
    corrupt,
    foreign_database,
    missing,
    newer_schema,
    no_write_ahead_log,
    older_schema,
    refusals_of,
)

BUSY_TIMEOUT_S = 20.0  # the longest transaction, the first audit of 10,000 devices, takes about half of it
MAX_LEFT_LOG_BYTES = 4 * 1024 * 1024  # the write-ahead log is cut to this after each checkpoint
RETRY_S = 0.02
NO_ROOM_FOR_LOG = (sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY_CANTINIT)


def open_database(path: Path, *, is_read_only: bool, takes_any_schema: bool = False) -> Database:
    """Return an open database, brought up to date where it may be written.

    With `takes_any_schema`, which is only for reading, it may be older or newer than this program knows.

    Raises:
        StoreError: If it cannot be opened, is damaged, is not ours, or has a schema that is not taken.
    """
    if is_read_only and not path.exists():
        raise missing(path)
    with refusals_of(path):
        try:
            return _opened(path, "mode=ro" if is_read_only else "mode=rwc", is_read_only, takes_any_schema)
        except sqlite3.OperationalError as error:
            if not is_read_only or error.sqlite_errorcode not in NO_ROOM_FOR_LOG or has_log(path):
                raise
        # To read beside a writer SQLite makes files beside the database. Where it cannot (the disk is full to the
        # last block, or may not be written at all) and nobody's log is there, the file alone is the whole truth.
        return _opened(path, "mode=ro&immutable=1", is_read_only, takes_any_schema)


def is_whole(database: Database) -> bool:
    """Whether a database has no damage that a quick look finds."""
    try:
        return _quickly_checked(database) == "ok"
    except sqlite3.Error:
        return False


def has_log(path: Path) -> bool:
    """Whether a write-ahead log with something in it lies beside a database."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _opened(path: Path, mode: str, is_read_only: bool, takes_any_schema: bool) -> Database:
    # isolation_level None: the driver begins no transaction by itself, ours are the only ones.
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?{mode}", uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None
    )
    try:
        # No plug-ins: a package that happens to be installed must not reach into this database.
        database = Database(connection, execute_plugins=False)
        _prepare(database, path, is_read_only, takes_any_schema)
    except BaseException:
        connection.close()
        raise
    return database


def _prepare(database: Database, path: Path, is_read_only: bool, takes_any_schema: bool) -> None:
    """Look at the file first and change it after, so that a file that is not for us stays as it was."""
    newest = newest_number(MIGRATIONS)
    if is_foreign(database):
        raise foreign_database(path)
    number = schema_number(database)
    if number > newest and not takes_any_schema:
        raise newer_schema(path, number, newest)
    # The schema is text in the file: one that was tampered with must not call functions of ours.
    database.execute("PRAGMA trusted_schema = OFF")
    if is_read_only:
        if number == 0:
            raise missing(path)
        if number < newest and not takes_any_schema:
            raise older_schema(path, number, newest)
        database.execute("PRAGMA query_only = ON")
        return
    if (found := _quickly_checked(database)) != "ok":
        raise corrupt(path, found)
    _use_write_ahead_log(database, path)
    database.execute("PRAGMA foreign_keys = ON")
    # A pragma takes no parameters; the number is ours.
    database.execute(f"PRAGMA journal_size_limit = {MAX_LEFT_LOG_BYTES:d}")
    migrate(database, MIGRATIONS, datetime.now(UTC))


def _quickly_checked(database: Database) -> str:
    return str(database.execute("PRAGMA quick_check(1)").fetchone()[0])


def _use_write_ahead_log(database: Database, path: Path) -> None:
    """Switch to the write-ahead log, once in the life of a file.

    SQLite does not wait for the lock here (two first runs at once), so this does. It is the store's own thread
    that sleeps.
    """
    give_up_at = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            database.enable_wal()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() >= give_up_at:
                raise
            time.sleep(RETRY_S)
        else:
            break
    if (mode := database.journal_mode) != "wal":
        raise no_write_ahead_log(path, mode)
