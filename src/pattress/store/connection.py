"""The one connection to the database, and the one thread that uses it.

What belongs here: opening, threads, transactions, closing. What does not: tables.

A call that is cancelled while it waits for its turn is not done; one that is running is finished in the thread, so
that a transaction is always kept whole or not at all.
"""

import asyncio
import concurrent.futures
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar, TypeVarTuple

from sqlite_utils import Database

from pattress.model.errors import StoreError
from pattress.store.opening import is_whole, open_database
from pattress.store.refusals import refusals_of
from pattress.store.transactions import write_transaction

Result = TypeVar("Result")
Arguments = TypeVarTuple("Arguments")


class Connection:
    """One open database on a thread of its own."""

    def __init__(self, path: Path, *, is_read_only: bool, reads_at_least: bool = False) -> None:
        self.path = path
        self._is_read_only = is_read_only
        self._reads_at_least = reads_at_least
        self._refusal: StoreError | None = None
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
        try:
            self._database = open_database(self.path, is_read_only=self._is_read_only)
        except StoreError as refusal:
            if not self._reads_at_least or (readable := self._readable()) is None:
                raise
            self._database, self._refusal = readable, refusal

    def _readable(self) -> Database | None:
        """Return the database for reading alone, None where it is not whole or cannot even be read."""
        try:
            database = open_database(self.path, is_read_only=True)
        except StoreError:
            return None
        if is_whole(database):
            return database
        database.close()
        return None

    def _read(self, work: Callable[[Database], Result]) -> Result:
        database = self._opened()
        with refusals_of(self.path), database.atomic():
            return work(database)

    def _alone(self, work: Callable[[Database], Result]) -> Result:
        database = self._opened()
        with refusals_of(self.path):
            return work(database)

    def _write(self, work: Callable[[Database], Result], is_final: bool, checks_keys: bool) -> Result:
        if self._refusal is not None:
            raise self._refusal
        database = self._opened()
        with refusals_of(self.path):
            database.execute("PRAGMA synchronous = FULL" if is_final else "PRAGMA synchronous = NORMAL")
            database.execute("PRAGMA foreign_keys = ON" if checks_keys else "PRAGMA foreign_keys = OFF")
            try:
                return _in_transaction(database, work)
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode != sqlite3.SQLITE_FULL:
                    raise
            # The log may hold much that is old: once that is in the database, the log's own room can be used again.
            database.execute("PRAGMA wal_checkpoint(RESTART)")
            return _in_transaction(database, work)

    def _close(self) -> None:
        if self._database is not None:
            self._database.close()
            self._database = None

    def _opened(self) -> Database:
        if self._database is None:
            raise RuntimeError(f"{self.path} is not open")
        return self._database


def _in_transaction(database: Database, work: Callable[[Database], Result]) -> Result:
    with write_transaction(database):
        return work(database)
