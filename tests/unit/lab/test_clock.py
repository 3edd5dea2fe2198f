from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.lab.clock import HouseClock, SharedClock


class Real:
    """Real time as a test says it."""

    def __init__(self) -> None:
        self.now_s = 1_000_000.0

    def __call__(self) -> float:
        return self.now_s


def test_a_house_that_nobody_hurries_has_real_time_exactly() -> None:
    real = Real()
    clock = HouseClock(real)

    real.now_s += 12_345.678

    assert clock.now_s() == pytest.approx(real.now_s, abs=1e-6)
    assert clock.ahead_s == 0.0
    assert clock.now() == datetime.fromtimestamp(1_012_345.678, UTC)


def test_a_change_of_speed_makes_no_jump_and_counts_from_then_on() -> None:
    real = Real()
    clock = HouseClock(real)
    real.now_s += 10

    clock.run_at(60)
    at_once_s = clock.now_s()
    real.now_s += 8
    clock.run_at(1)
    real.now_s += 5

    assert at_once_s == 1_000_010
    assert clock.now_s() == 1_000_010 + 8 * 60 + 5
    assert clock.ahead_s == pytest.approx(8 * 59)


def test_seconds_of_the_house_are_shorter_where_it_runs_faster() -> None:
    clock = HouseClock(Real())

    clock.run_at(40)

    assert clock.real_s(480) == 12


@pytest.mark.parametrize("speed", [0, -1, float("nan")])
def test_a_clock_neither_stands_still_nor_runs_backwards(speed: float) -> None:
    with pytest.raises(ValueError, match="cannot run"):
        HouseClock(Real()).run_at(speed)


def test_another_process_follows_a_shared_clock_through_its_changes(tmp_path: Path) -> None:
    real = Real()
    clock = HouseClock(real)
    clock.share(tmp_path / "clock.json")
    other = SharedClock(tmp_path / "clock.json", real)

    clock.run_at(60)
    real.now_s += 3.5
    fast = other.now(), clock.now()
    clock.run_at(2)
    real.now_s += 100

    assert fast[0] == fast[1]
    assert other.now() == clock.now()
    assert [file.name for file in tmp_path.iterdir()] == ["clock.json"]


def test_who_wants_to_know_is_told_of_a_change_of_speed() -> None:
    clock = HouseClock(Real())
    told: list[float] = []
    clock.on_change(lambda: told.append(clock.speed))

    clock.run_at(5)

    assert told == [5]
