"""The clock of the emulated house, which can run faster than real time, and be followed from another process.

What belongs here: what time it is in the house. What does not: what happens there by then.
"""

import json
import os
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rate:
    """From the real second `real_s` on, which is second `house_s` of the house, `speed` of its seconds go by in one."""

    real_s: float
    house_s: float
    speed: float

    def at(self, real_s: float) -> float:
        return self.house_s + (real_s - self.real_s) * self.speed


class HouseClock:
    """Seconds since 1970 as they are in the house: the real ones, until it is told to run faster.

    Args:
        real: What tells real time, in seconds since 1970.
    """

    def __init__(self, real: Callable[[], float] = time.time) -> None:
        self._real = real
        now_s = real()
        self._rate = _Rate(real_s=now_s, house_s=now_s, speed=1.0)
        self._file: Path | None = None
        self._on_change: list[Callable[[], None]] = []

    @property
    def speed(self) -> float:
        """How many seconds of the house go by in a real one."""
        return self._rate.speed

    @property
    def ahead_s(self) -> float:
        """By how many seconds the house is ahead of real time now; exactly 0 where it never ran faster."""
        rate = self._rate
        now_s = self._real()
        return (rate.house_s - rate.real_s) + (now_s - rate.real_s) * (rate.speed - 1)

    def now_s(self) -> float:
        """Return the seconds since 1970 in the house."""
        return self._rate.at(self._real())

    def now(self) -> datetime:
        """Return the present moment in the house, in UTC."""
        return datetime.fromtimestamp(self.now_s(), UTC)

    def real_s(self, house_s: float) -> float:
        """Return how many real seconds it takes, at the present speed, until so many have gone by in the house."""
        return house_s / self._rate.speed

    def run_at(self, speed: float) -> None:
        """Run so many times as fast as real time from now on. The time of the house does not jump.

        Raises:
            ValueError: If it would stand still or run backwards.
        """
        if not speed > 0:
            raise ValueError(f"a clock cannot run at {speed:g} times its speed")
        now_s = self._real()
        self._rate = _Rate(real_s=now_s, house_s=self._rate.at(now_s), speed=speed)
        if self._file is not None:
            self._write(self._file)
        for call in self._on_change:
            call()

    def share(self, file: Path) -> None:
        """Write to a file how this clock runs, now and at each change, for a `SharedClock` in another process."""
        self._write(file)
        self._file = file

    def on_change(self, call: Callable[[], None]) -> None:
        """Have something called whenever the speed changes."""
        self._on_change.append(call)

    def _write(self, file: Path) -> None:
        # Replaced as a whole, so that nobody reads half of it.
        beside = file.with_name(file.name + ".new")
        beside.write_text(json.dumps(asdict(self._rate)), encoding="utf-8")
        os.replace(beside, file)


class SharedClock:
    """The clock of a house that runs in another process of this machine, which shares it by a file."""

    def __init__(self, file: Path, real: Callable[[], float] = time.time) -> None:
        self._file = file
        self._real = real

    def now(self) -> datetime:
        """Return the present moment in the house, in UTC."""
        rate = _Rate(**json.loads(self._file.read_text(encoding="utf-8")))
        return datetime.fromtimestamp(rate.at(self._real()), UTC)
