"""Fixtures of the store's tests."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from unit.store.disks import mount


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own of one megabyte."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount(folder, "size=1m", kind=("-t", "tmpfs"))
    yield folder
    subprocess.run(["umount", str(folder)], check=True)
