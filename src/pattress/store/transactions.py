"""One write transaction. What does not belong here: what is written in it."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlite_utils import Database


@contextmanager
def write_transaction(database: Database) -> Iterator[None]:
    """Run the block in one transaction that holds the write lock from its start, and is kept whole or not at all.

    `Database.atomic` begins without the lock, and SQLite refuses at once, whatever the busy timeout, to turn a
    transaction that has read into a writing one after another connection has written. Inside this one, `atomic`
    and the library's own inserts become savepoints.
    """
    database.execute("BEGIN IMMEDIATE")
    try:
        yield
        database.execute("COMMIT")
    except BaseException:
        database.rollback()  # does nothing where SQLite has already rolled back, as after a full disk
        raise
