"""An audit with the disk full: told all the same, and not taken for kept."""

import asyncio
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site

# The database on a file system of its own, in a mount namespace that goes with the process. The first audit is kept;
# then one file takes all the room that is left, down to the last block.
SCRIPT = """
mount -t tmpfs -o size=1m none "$1/disk"
shift
"$@" --summary || test $? -eq 1 || exit 99
dd if=/dev/zero of="$SITE/disk/filler" bs=4k 2>/dev/null
"$@"
status=$?
rm "$SITE/disk/filler"
"$@" --summary
exit $status
"""


def require_mount_namespaces() -> None:
    allowed = subprocess.run(["unshare", "--mount", "true"], check=False, capture_output=True)
    if allowed.returncode != 0:
        reason = f"a mount namespace of one's own is not permitted here: {allowed.stderr.decode().strip()}"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(reason)


@pytest.fixture
async def folder(tmp_path: Path) -> AsyncIterator[Path]:
    require_mount_namespaces()
    async with EmulatedHouse(faults=["cloud-left-on"], delay_s=(0.0, 0.02), wait_s=60) as house:
        site = write_site(house, tmp_path, today=datetime.now(UTC).date())
        (site / "disk").mkdir()
        text = (site / "site.toml").read_text(encoding="utf-8")
        (site / "site.toml").write_text(f'store = "disk/pattress.db"\n{text}', encoding="utf-8")
        yield site


async def test_the_report_is_printed_and_then_that_it_is_not_kept(folder: Path) -> None:
    audit = [sys.executable, "-m", "pattress", "audit", "--site", str(folder), "--listen", "2"]
    process = await asyncio.create_subprocess_exec(
        *["unshare", "--mount", "sh", "-c", SCRIPT, "sh", str(folder), *audit],
        env={**os.environ, "SITE": str(folder)},
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    async with asyncio.timeout(60):
        out, err = await process.communicate()

    first, *_, last = out.decode().splitlines()
    assert process.returncode == 2, err.decode()
    assert ": audit 1: 1 broken, " in first
    assert "audit that is not kept of " in out.decode()
    assert "BROKEN: 1" in out.decode()
    assert "the disk is full" in err.decode()
    assert ": audit 2: 1 broken, " in last, "what was kept before is there, and the next audit is kept again"
