"""Giving unused space of a database back to the disk. What does not belong here: deciding what is not needed."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from sqlite_utils import Database

from pattress.model.errors import StoreError

SPARE = 1.2  # what a rewritten file may need beside what is counted: the log's own headers, a page here and there
MEBIBYTE = 1 << 20


def refuse_without_room(database: Database, path: Path) -> None:
    """Refuse where rewriting a database would fill the disk.

    SQLite writes all of it once into a file of the temporary folder, and once into the log beside the database.

    Raises:
        StoreError: With how much room is needed where.
    """
    needed = int(used_bytes(database) * SPARE) + MEBIBYTE
    needs: dict[int, int] = {}
    for folder in (path.absolute().parent, _temporary_folder()):
        disk = folder.stat().st_dev
        needs[disk] = needs.get(disk, 0) + needed
        free = shutil.disk_usage(folder).free
        if free < needs[disk]:
            raise StoreError(
                f"compacting needs {_mebibytes(needs[disk])} free in {folder}, and {_mebibytes(free)} are",
                where=str(path),
                next_step="Free that much, or let the unused space be: it is used again. Nothing was changed",
            )


def rewrite(database: Database) -> None:
    """Write a database anew, without its unused pages. It must be in no transaction."""
    database.execute("VACUUM")
    database.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def file_bytes(database: Database) -> int:
    """Return how large a database is."""
    pages, size = (int(database.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_count", "page_size"))
    return pages * size


def used_bytes(database: Database) -> int:
    """Return how much of a database is in use."""
    pages, free, size = (
        int(database.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size


def _temporary_folder() -> Path:
    """Return where SQLite makes temporary files: the first of its list that is a folder which may be written."""
    return next((one for one in _candidates() if one.is_dir() and os.access(one, os.W_OK | os.X_OK)), Path())


def _candidates() -> Iterator[Path]:
    yield from (Path(os.environ[name]) for name in ("SQLITE_TMPDIR", "TMPDIR") if os.environ.get(name))
    yield from (Path("/var/tmp"), Path("/usr/tmp"), Path("/tmp"))  # noqa: S108 - SQLite's own list


def _mebibytes(count: int) -> str:
    return f"{count / MEBIBYTE:.1f} MiB"
