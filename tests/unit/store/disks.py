"""Small file systems for tests, which need the right to mount. No tests here."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def mount(folder: Path, options: str, kind: tuple[str, ...] = ()) -> None:
    """Mount, or skip the test where that is not permitted; fail it where everything must run."""
    done = subprocess.run(["mount", *kind, "-o", options, "none", str(folder)], capture_output=True, check=False)
    if done.returncode != 0:
        reason = f"mounting a small disk is not permitted here: {done.stderr.decode().strip()}"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)


def fill(folder: Path, *, leaving_bytes: int = 0) -> Path:
    """Fill a file system with one file, and return it: removing it frees the room again."""
    ballast = folder / "ballast"
    with ballast.open("wb") as file:
        file.write(bytes(max(0, shutil.disk_usage(folder).free - leaving_bytes)))
    return ballast
