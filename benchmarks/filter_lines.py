"""Lines of a packet filter's log into evidence, beside grep looking for one fixed text in the same file."""

import random
import subprocess
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.measured import Measured, Size
from pattress.egress.netfilter import FirewallLog
from pattress.model.watching import WatchSource

NOW = datetime(2026, 5, 28, 12, tzinfo=UTC)
PREFIX = "iot-drop"


def measured(size: Size) -> list[Measured]:
    """Return what a line costs where every line is the filter's, and where one in ten is."""
    count = size.of(full=200_000, tiny=200)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "firewall.log"
        return [
            _beside_grep("a line of a log, all of them the filter's", path, count, others=0, size=size),
            _beside_grep("a line of a log, one in ten the filter's", path, count, others=9, size=size),
        ]


def _beside_grep(what: str, path: Path, count: int, *, others: int, size: Size) -> Measured:
    """Read the file both ways, several times in turn; keep the best of each."""
    told = _write(path, count, others)
    ours_s = theirs_s = float("inf")
    for _ in range(size.of(full=5, tiny=1)):
        started_s = time.perf_counter()
        found = _evidence(path)
        ours_s = min(ours_s, time.perf_counter() - started_s)
        counted, took_s = _grep(path)
        theirs_s = min(theirs_s, took_s)
        if not found == counted == told:
            raise RuntimeError(f"ours found {found} lines, grep {counted}, there are {told}")
    return Measured(
        what=what, unit="ns", ours=ours_s * 1e9 / count, reference=theirs_s * 1e9 / count, beside="grep -cF"
    )


def _evidence(path: Path) -> int:
    source = WatchSource(name="router-log", kind="firewall", file=path, verdicts={PREFIX: "dropped"})
    log = FirewallLog(source)
    with path.open(encoding="utf-8", errors="replace") as lines:
        return sum(log.evidence(line, NOW) is not None for line in lines)


def _grep(path: Path) -> tuple[int, float]:
    started_s = time.perf_counter()
    ended = subprocess.run(["grep", "-cF", PREFIX, str(path)], check=True, capture_output=True, text=True)
    return int(ended.stdout), time.perf_counter() - started_s


def _write(path: Path, count: int, others: int) -> int:
    numbers = random.Random(20260528)
    told = 0
    with path.open("w") as file:
        for number in range(count):
            if number % (others + 1):
                file.write(_other(numbers))
            else:
                file.write(_of_filter(numbers))
                told += 1
    return told


def _of_filter(numbers: random.Random) -> str:
    return (
        f"May 28 11:{numbers.randrange(60):02}:{numbers.randrange(60):02} router kernel:"
        f" [{numbers.randrange(10**6)}.250000] {PREFIX} IN=iot0 OUT=wan0"
        f" MAC=02:00:5e:00:53:01:02:00:5e:00:53:{numbers.randrange(10, 99)}:08:00"
        f" SRC=192.0.2.{numbers.randrange(2, 250)} DST=203.0.113.{numbers.randrange(1, 255)} LEN=60 TOS=0x00 PREC=0x00"
        f" TTL=63 ID={numbers.randrange(65536)} DF PROTO=TCP SPT={numbers.randrange(32768, 61000)} DPT=443 WINDOW=64240"
        " RES=0x00 SYN URGP=0\n"
    )


def _other(numbers: random.Random) -> str:
    return (
        f"May 28 11:{numbers.randrange(60):02}:{numbers.randrange(60):02} router lease[{numbers.randrange(9999)}]:"
        f" renewed 192.0.2.{numbers.randrange(2, 250)} for 02:00:5e:00:53:{numbers.randrange(10, 99)} on iot0\n"
    )
