"""Whatever the moment at which it is killed, and however full the disk: what was acknowledged is there, whole.

A few rounds of what `python -m tests.store.killing` does two hundred times.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from store.killing import ROOT, kill_often

ROUNDS = 10


def test_killed_audits_and_sign_offs_lose_nothing_and_leave_no_halves(tmp_path: Path) -> None:
    tally = kill_often(tmp_path, ROUNDS, seed=20260301)

    assert tally.faults == []
    assert min(tally.acknowledged[word] for word in ("audit", "readings", "sign-off", "step")) > 10
    assert tally.acknowledged["samples"] > 0
    assert tally.unfinished_audits > 0


def test_the_same_on_a_disk_that_fills_up_in_between() -> None:
    allowed = subprocess.run(["unshare", "--mount", "true"], check=False, capture_output=True)
    if allowed.returncode != 0:
        reason = f"a mount namespace of one's own is not permitted here: {allowed.stderr.decode().strip()}"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(reason)
    command = [sys.executable, "-m", "store.killing", "--rounds", str(ROUNDS), "--seed", "20260301", "--full-disk"]

    ended = subprocess.run(
        command, check=False, timeout=300, capture_output=True, text=True, cwd=ROOT / "tests", env=dict(os.environ)
    )

    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert f"{ROUNDS} kills" in ended.stdout
    assert "faults: 0" in ended.stdout
    assert "refused for a full disk: 0" not in ended.stdout
