"""The units of the nightly audit, against systemd's own tools."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from peers.requirements import require_peer

UNITS = Path(__file__).parents[2] / "systemd"
EXPOSURE_LIMIT = 1.5


@pytest.fixture(autouse=True)
def _systemd() -> None:
    require_peer("systemd-analyze")


def analyze(*words: str, zone: str = "UTC") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", *words], capture_output=True, text=True, check=False, env={**os.environ, "TZ": zone}
    )


def test_every_unit_is_clean(tmp_path: Path) -> None:
    """The program itself is not installed where the unit expects it: its path is replaced by one that exists."""
    for unit in UNITS.iterdir():
        text = unit.read_text(encoding="utf-8").replace("/opt/pattress/bin/pattress", sys.executable)
        (tmp_path / unit.name).write_text(text, encoding="utf-8")

    ended = analyze("verify", *(str(path) for path in sorted(tmp_path.iterdir())))

    assert (ended.returncode, ended.stderr) == (0, "")


@pytest.mark.parametrize("name", ["pattress-audit", "pattress-watch"])
def test_the_sandbox_is_tight(name: str) -> None:
    """systemd-analyze(1): exposure from 0.0 to 10.0; the value moves with the version of systemd."""
    ended = analyze("security", "--offline=true", "--no-pager", str(UNITS / f"{name}.service"))

    found = re.search(rf"Overall exposure level for {name}.service: ([0-9.]+)", ended.stdout)
    assert found is not None, ended.stderr
    assert float(found[1]) <= EXPOSURE_LIMIT


@pytest.mark.parametrize(
    "zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca", "UTC"]
)
@pytest.mark.parametrize("before", ["2026-03-07", "2026-03-28", "2026-04-04", "2026-10-03", "2026-10-24", "2026-10-31"])
def test_the_timer_runs_once_in_every_night_whatever_the_clocks_do(zone: str, before: str) -> None:
    """The nights are those before and after which clocks change in 2026 in these zones (IANA time zone database)."""
    calendar = re.search(r"^OnCalendar=(.+)$", (UNITS / "pattress-audit.timer").read_text("utf-8"), re.MULTILINE)
    assert calendar is not None

    ended = analyze("calendar", f"--base-time={before} 12:00", "--iterations=3", calendar[1], zone=zone)

    runs = re.findall(r"(?:Next elapse|Iter\. #\d): \w+ (\d{4}-\d\d-\d\d) (\d\d:\d\d:\d\d)", ended.stdout)
    assert len({day for day, _ in runs}) == 3
    assert {time for _, time in runs} == {"04:10:00"}
