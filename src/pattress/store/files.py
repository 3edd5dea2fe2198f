"""Files that are whole or not there: what a backup or an export becomes.

What belongs here: names, rights and the disk. What does not: what is in the file.
"""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pattress.model.errors import StoreError


@contextmanager
def new_file(target: Path) -> Iterator[Path]:
    """Give a path to write to, which becomes `target` once the block ends well, with all of it on the disk.

    Nothing is ever overwritten, and nothing is left behind where the block fails.

    Raises:
        StoreError: If something of that name is there, or it cannot be written.
    """
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        _refuse_existing(target)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        try:
            yield part
            _to_disk(part)
            # A name that came up meanwhile is somebody else's. Hard links, which would settle this in one step, are
            # not to be had on every stick that backups are put on.
            os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            part.replace(target)
            _to_disk(target.parent)
        finally:
            part.unlink(missing_ok=True)
    except FileExistsError as error:
        raise _existing(target) from error
    except OSError as error:
        raise StoreError(
            f"it cannot be written ({error.strerror or error})",
            where=str(target),
            next_step="Name a file in a folder that is there, may be written and has room",
        ) from error


def _refuse_existing(target: Path) -> None:
    if target.exists() or target.is_symlink():
        raise _existing(target)


def _existing(target: Path) -> StoreError:
    return StoreError(
        "something of that name is there, and nothing is overwritten",
        where=str(target),
        next_step="Name another file",
    )


def _to_disk(path: Path) -> None:
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
