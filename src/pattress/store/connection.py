"""The one connection to the database, and the one thread that uses it.

What belongs here: opening, threads, transactions, closing. What does not: tables.

A call that is cancelled while it waits for its turn is not done; one that is running is finished in the thread, so
that a transaction is always kept whole or not at all.
"""

import asyncio
import concurrent.futures
import sqlite3
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar, TypeVarTuple

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
from pattress.store.transactions import write_transaction

Result = TypeVar("Result")
Arguments = TypeVarTuple("Arguments")

BUSY_TIMEOUT_S = 5.0  # the longest batch, the first readings of 10,000 devices, takes about half of it
MAX_LEFT_LOG_BYTES = 4 * 1024 * 1024  # the write-ahead log is cut to this after each checkpoint
RETRY_S = 0.02


class Connection:
    """One open database on a thread of its own."""

    def __init__(self, path: Path, *, is_read_only: bool) -> None:
        self._path = path
        self._is_read_only = is_read_only
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store")
        self._database: Database | None = None
        self._closing: concurrent.futures.Future[None] | None = None

    async def open(self) -> None:
        """Open the file, and bring its schema up to date where it may be written."""
        await self._on_thread(self._open)

    async def read(self, work: Callable[[Database], Result]) -> Result:
        """Return what `work` reads, all of it from one moment."""
        return await self._on_thread(self._read, work)

    async def write(
        self, work: Callable[[Database], Result], *, is_final: bool = False, checks_keys: bool = True
    ) -> Result:
        """Return what `work` gives after it was kept in one transaction.

        A killed process loses nothing that was kept. A power cut may lose the newest transactions, but none up to
        the last one with `is_final`, which waits for the disk. Without `checks_keys`, `work` itself sees to it that
        every reference has what it refers to.
        """
        return await self._on_thread(self._write, work, is_final, checks_keys)

    async def alone(self, work: Callable[[Database], Result]) -> Result:
        """Return what `work` gives, which must run in no transaction."""
        return await self._on_thread(self._alone, work)

    async def close(self) -> None:
        """Close the file after everything that was asked before, and end the thread. Twice is as good as once."""
        if self._closing is None:
            self._closing = self._thread.submit(self._close)
            self._thread.shutdown(wait=False)
        # Shielded: a close that nobody waits for any more is still done.
        await asyncio.shield(asyncio.wrap_future(self._closing))
        self._thread.shutdown(wait=True)  # the thread has nothing left to do and ends at once

    async def _on_thread(self, call: Callable[[*Arguments], Result], *arguments: *Arguments) -> Result:
        return await asyncio.wrap_future(self._thread.submit(call, *arguments))

    def _open(self) -> None:
        if self._is_read_only and not self._path.exists():
            raise missing(self._path)
        with refusals_of(self._path):
            mode = "ro" if self._is_read_only else "rwc"
            # isolation_level None: the driver begins no transaction by itself, ours are the only ones.
            connection = sqlite3.connect(
                f"{self._path.absolute().as_uri()}?mode={mode}", uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None
            )
            try:
                # No plug-ins: a package that happens to be installed must not reach into this database.
                database = Database(connection, execute_plugins=False)
                _prepare(database, self._path, is_read_only=self._is_read_only)
            except BaseException:
                connection.close()
                raise
        self._database = database

    def _read(self, work: Callable[[Database], Result]) -> Result:
        database = self._opened()
        with refusals_of(self._path), database.atomic():
            return work(database)

    def _alone(self, work: Callable[[Database], Result]) -> Result:
        database = self._opened()
        with refusals_of(self._path):
            return work(database)

    def _write(self, work: Callable[[Database], Result], is_final: bool, checks_keys: bool) -> Result:
        database = self._opened()
        with refusals_of(self._path):
            database.execute("PRAGMA synchronous = FULL" if is_final else "PRAGMA synchronous = NORMAL")
            database.execute("PRAGMA foreign_keys = ON" if checks_keys else "PRAGMA foreign_keys = OFF")
            with write_transaction(database):
                return work(database)

    def _close(self) -> None:
        if self._database is not None:
            self._database.close()
            self._database = None

    def _opened(self) -> Database:
        if self._database is None:
            raise RuntimeError(f"{self._path} is not open")
        return self._database


def _prepare(database: Database, path: Path, *, is_read_only: bool) -> None:
    """Look at the file first and change it after, so that a file that is not for us stays as it was."""
    newest = newest_number(MIGRATIONS)
    if is_foreign(database):
        raise foreign_database(path)
    if (number := schema_number(database)) > newest:
        raise newer_schema(path, number, newest)
    # The schema is text in the file: one that was tampered with must not call functions of ours.
    database.execute("PRAGMA trusted_schema = OFF")
    if is_read_only:
        if number < newest:
            raise missing(path) if number == 0 else older_schema(path, number, newest)
        database.execute("PRAGMA query_only = ON")
        return
    if (found := database.execute("PRAGMA quick_check(1)").fetchone()[0]) != "ok":
        raise corrupt(path, str(found))
    _use_write_ahead_log(database, path)
    database.execute("PRAGMA foreign_keys = ON")
    # A pragma takes no parameters; the number is ours.
    database.execute(f"PRAGMA journal_size_limit = {MAX_LEFT_LOG_BYTES:d}")
    migrate(database, MIGRATIONS, datetime.now(UTC))


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
