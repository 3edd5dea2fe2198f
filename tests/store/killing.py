"""Kills a process that keeps, again and again at random moments, and looks each time for what it had acknowledged.

    python -m tests.store.killing --rounds 200
    python -m tests.store.killing --rounds 200 --full-disk      # as root: on a small file system of its own

The tests do a few rounds of both. No tests here.
"""

import argparse
import errno
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from pattress.model.errors import StoreError

from . import world

ROOT = Path(__file__).parents[2]
DISK = "size=3m"
FULL_ENOUGH_BYTES = 2_000_000  # a database of this size is looked through to the end, and a new one begun
MAX_SAID = 60  # things acknowledged before a kill


@dataclass
class Tally:
    """What became of all rounds."""

    rounds: int = 0
    acknowledged: dict[str, int] = field(default_factory=dict)
    refused: int = 0
    unfinished_audits: int = 0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        said = ", ".join(f"{count} of {word}" for word, count in sorted(self.acknowledged.items()))
        return (
            f"{self.rounds} kills; acknowledged: {said}; refused for a full disk: {self.refused};"
            f" killed within an audit: {self.unfinished_audits}; faults: {len(self.faults)}"
        )


class Killing:
    """One database after another in a folder, and everything that was ever acknowledged of the present one."""

    def __init__(self, folder: Path, numbers: random.Random, *, fills_disk: bool) -> None:
        self.folder = folder
        self.numbers = numbers
        self.fills_disk = fills_disk
        self.tally = Tally()
        self._said: set[str] = set()
        self._next = 1

    @property
    def path(self) -> Path:
        return self.folder / "house.db"

    def round(self) -> None:
        """Let it keep for a random while, kill it, and verify what it said in this round."""
        self._leave_room()
        said = self._keep_and_kill()
        fresh = {line for line in said if line.split()[0] not in ("begin", "refused", "thin")}
        refusals = [line for line in said if line.startswith("refused")]
        self.tally.faults += [line for line in refusals if "the disk is full" not in line or not self.fills_disk]
        self.tally.refused += len(refusals)
        self.tally.rounds += 1
        for line in fresh:
            word = line.split()[0]
            self.tally.acknowledged[word] = self.tally.acknowledged.get(word, 0) + 1
        begun = [int(line.split()[1]) for line in said if line.startswith("begin")]
        self.tally.unfinished_audits += bool(begun) and f"audit {begun[-1]}" not in said
        self._next = max([self._next, *begun]) + 10  # a number that was cut off while it was said is not met again
        self._said |= fresh
        self._verify(fresh)
        if self.fills_disk and self.path.exists() and self.path.stat().st_size > FULL_ENOUGH_BYTES:
            self.begin_anew()

    def begin_anew(self) -> None:
        """Verify everything that was ever acknowledged of this database, and leave it."""
        self._take_ballast_away()
        if self.path.exists():
            self.tally.faults += world.faults(self.path, self._said)
        for file in self.folder.iterdir():
            file.unlink()
        self._said.clear()

    def _keep_and_kill(self) -> list[str]:
        command = [sys.executable, "-m", f"{__package__}.keeping", str(self.path), str(self._next)]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=environment) as process:
            assert process.stdout is not None
            lines: list[str] = []
            wanted, change_at = self.numbers.randrange(MAX_SAID), self.numbers.randrange(MAX_SAID)
            for line in process.stdout:
                lines.append(line)
                if len(lines) == change_at:
                    self._leave_room()
                if len(lines) >= wanted:
                    break
            time.sleep(self.numbers.uniform(0, 0.02))  # the kill is to come at any moment, not after a line
            process.send_signal(signal.SIGKILL)
            lines += process.stdout  # what it said until then counts too
        return [line.rstrip("\n") for line in lines if line.endswith("\n")]

    def _verify(self, fresh: set[str]) -> None:
        try:
            if self.numbers.random() < 0.5 and self.path.exists():
                self.tally.faults += world.faults(self.path, fresh, read_only=True)
        except StoreError as error:
            is_expected = self.fills_disk and ("disk is full" in error.what or "no database yet" in error.what)
            self.tally.faults += [] if is_expected else [str(error)]
        self._take_ballast_away()
        if self.path.exists():
            self.tally.faults += world.faults(self.path, fresh)

    def _leave_room(self) -> None:
        if self.fills_disk:
            self._take_ballast_away()
            free_bytes = self.numbers.choice([0, 40_000, 100_000, 400_000, 800_000, 1 << 30])
            room = shutil.disk_usage(self.folder).free - free_bytes
            if room > 0:
                try:
                    self._ballast.write_bytes(bytes(room))
                except OSError as error:
                    # The writer is alive and may have taken the room in between: the disk is full then, as was wanted.
                    if error.errno != errno.ENOSPC:
                        raise

    @property
    def _ballast(self) -> Path:
        return self.folder / "ballast"

    def _take_ballast_away(self) -> None:
        self._ballast.unlink(missing_ok=True)


def kill_often(folder: Path, rounds: int, seed: int, *, fills_disk: bool = False, tells: bool = False) -> Tally:
    """Do so many rounds in a folder, and return what became of them."""
    killing = Killing(folder, random.Random(seed), fills_disk=fills_disk)
    for number in range(rounds):
        killing.round()
        if tells and number % 20 == 19:
            print(killing.tally, flush=True)
    killing.begin_anew()
    return killing.tally


def main() -> int:
    """Return the exit status: 1 where anything that was acknowledged is gone, or anything is there by half."""
    parser = argparse.ArgumentParser(prog="python -m tests.store.killing")
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--seed", type=int, default=random.randrange(1_000_000))
    parser.add_argument("--full-disk", action="store_true")
    parser.add_argument("--folder", type=Path)
    wanted = parser.parse_args()
    if wanted.full_disk and wanted.folder is None:
        return _in_a_namespace(wanted.rounds, wanted.seed)
    with tempfile.TemporaryDirectory() as made:
        folder = wanted.folder or Path(made)
        tally = kill_often(folder, wanted.rounds, wanted.seed, fills_disk=wanted.full_disk, tells=True)
    print(f"seed {wanted.seed}: {tally}")
    print("\n".join(tally.faults[:50]))
    return 1 if tally.faults else 0


def _in_a_namespace(rounds: int, seed: int) -> int:
    """Do the rounds on a small file system that nobody else sees, and that is gone with the process."""
    with tempfile.TemporaryDirectory() as folder:
        script = f'mount -t tmpfs -o {DISK} none "$1" && shift && exec "$@"'
        again = [sys.executable, "-m", f"{__package__}.killing", "--full-disk", "--folder", folder]
        command = ["unshare", "--mount", "sh", "-c", script, "sh", folder, *again]
        numbers = ["--rounds", str(rounds), "--seed", str(seed)]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
        return subprocess.run([*command, *numbers], check=False, cwd=ROOT, env=environment).returncode


if __name__ == "__main__":
    sys.exit(main())
