"""Visits side by side: each in a process and a network of its own, where another house is the only one.

What belongs here: beginning them, and waiting for what comes of each. What does not: a visit (`alone`, `visit`).
"""

import pickle
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from closein.alone import OUTCOME
from closein.visit import Outcome
from peers.requirements import require_peer, require_root

AT_A_TIME = 5  # a visit waits nine tenths of its time; five leave two processors half idle
DEADLINE_S = 200.0  # real, of a whole visit; the longest takes a third of it
TESTS = Path(__file__).parents[1]


@dataclass(frozen=True, slots=True)
class _Failed:
    reason: str
    shown: str


class Visits:
    """Visits that have been begun, or wait for their turn."""

    def __init__(self, futures: dict[str, "Future[Outcome | _Failed]"]) -> None:
        self._futures = futures

    def outcome(self, name: str) -> Outcome:
        """Return how a visit ended, once it has. Where it came to no end, the test fails with what was read."""
        outcome = self._futures[name].result()
        if isinstance(outcome, _Failed):
            pytest.fail(f"the visit {name} {outcome.reason}\n{outcome.shown}", pytrace=False)
        return outcome


@contextmanager
def side_by_side(names: Iterable[str], folder: Path) -> Iterator[Visits]:
    """Begin visits in the order of their names, a few at a time. Those that still go on at the end are killed."""
    require_root()
    require_peer("ip")
    runner = _Runner(require_peer("unshare"), folder)
    with ThreadPoolExecutor(AT_A_TIME, thread_name_prefix="visit") as threads:
        try:
            yield Visits({name: threads.submit(runner.run, name) for name in names})
        finally:
            threads.shutdown(wait=False, cancel_futures=True)
            runner.kill()


class _Runner:
    """Runs visits, from several threads."""

    def __init__(self, unshare: str, folder: Path) -> None:
        self._unshare = unshare
        self._folder = folder
        self._lock = threading.Lock()
        self._running: set[subprocess.Popen[str]] = set()
        self._is_over = False

    def run(self, name: str) -> Outcome | _Failed:
        """Do a visit to its end."""
        folder = self._folder / name
        folder.mkdir()
        # The first process of a process namespace takes all others with it: no program outlives its visit.
        alone = [self._unshare, "--net", "--pid", "--fork", "--kill-child", "sh", "-c"]
        alone += ['ip link set lo up && exec "$0" -W error -m closein.alone "$@"', sys.executable, name, str(folder)]
        with (folder / "shown").open("w+", encoding="utf-8", newline="") as shown, self._lock:
            if self._is_over:
                return _Failed("was not begun", "")
            process = subprocess.Popen(
                alone, cwd=TESTS, stdin=subprocess.DEVNULL, stdout=shown, stderr=shown, text=True
            )
            self._running.add(process)
        try:
            status = process.wait(DEADLINE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            return _Failed(f"was not done within {DEADLINE_S:g} s", _read(folder))
        finally:
            with self._lock:
                self._running.discard(process)
        if status != 0:
            return _Failed(f"ended with status {status}", _read(folder))
        outcome = pickle.loads((folder / OUTCOME).read_bytes())
        assert isinstance(outcome, Outcome)
        return outcome

    def kill(self) -> None:
        """End what still runs, and begin nothing more."""
        with self._lock:
            self._is_over = True
            for process in self._running:
                process.kill()


def _read(folder: Path) -> str:
    return (folder / "shown").read_text(encoding="utf-8", errors="replace").replace("\r", "")
