"""No device can stop a run, hold up another, lead us elsewhere, or fill the memory, whatever it answers."""

import asyncio
import json
import subprocess
import sys
from dataclasses import dataclass

import pytest

from hostile.devices import GOOD_DEVICES, misdeeds
from hostile.reading import ENVIRONMENT, Outcome, read_all, served
from pattress.model.reading import Snapshot, Unreadable
from raw_server import listening, silence

REASONS = {one.name: one.reason for one in misdeeds(elsewhere=0)}
BUSY_S = 3.0  # what a busy machine may add to two tries
COPIES = 3
MAX_GROWTH_MB = 200  # three of each are 138 at once, each held to 1 MiB of answer and what the library buffers


@dataclass(frozen=True, slots=True)
class Run:
    """One run over all of them, and how often the place that they send us on to was visited."""

    outcome: Outcome
    elsewhere: int
    visits: int


@pytest.fixture(scope="module")
def run() -> Run:
    """All of them are read once, all at once, as in a nightly audit."""
    return asyncio.run(_run())


async def _run() -> Run:
    visits = 0

    async def visited(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal visits
        visits += 1
        await silence(reader, writer)

    async with listening(visited) as elsewhere:
        with served(elsewhere) as ports:
            outcome = await read_all(ports)
    return Run(outcome, elsewhere, visits)


@pytest.mark.parametrize("name", REASONS)
def test_what_it_does_is_named_and_nothing_is_kept(name: str, run: Run) -> None:
    expected = {one.name: one.reason for one in misdeeds(run.elsewhere)}[name]
    reading = run.outcome.readings[name]

    assert isinstance(reading, Unreadable)
    reason = reading.reason.removesuffix(" (GET /facts)")
    if expected.endswith("..."):
        assert reason.startswith(expected.removesuffix("..."))
    else:
        assert reason == expected
    assert len(reason) < 250
    assert reason.isprintable()


@pytest.mark.parametrize("name", REASONS)
def test_its_reading_ends_in_time(name: str, run: Run) -> None:
    answer_s = {one.name: one.answer_s for one in misdeeds(elsewhere=0)}[name]

    assert run.outcome.durations_s[name] < 2 * answer_s + BUSY_S


def test_the_other_devices_of_the_run_are_read(run: Run) -> None:
    good = {name: one for name, one in run.outcome.readings.items() if name not in REASONS}

    assert len(good) == GOOD_DEVICES
    assert all(isinstance(one, Snapshot) and not one.errors for one in good.values())


def test_nobody_is_led_elsewhere(run: Run) -> None:
    assert run.visits == 0


def test_no_turn_of_the_loop_takes_long(run: Run) -> None:
    assert run.outcome.longest_turn_s < 0.5


def test_three_of_each_at_once_stay_within_memory(capsys: pytest.CaptureFixture[str]) -> None:
    with served(elsewhere=9, copies=COPIES) as ports:
        command = [sys.executable, "-m", "hostile.reading", json.dumps(ports)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=ENVIRONMENT)

    assert done.returncode == 0, done.stderr
    measured = json.loads(done.stdout)
    growth_mb = measured["after_mb"] - measured["before_mb"]
    with capsys.disabled():
        print(
            f"\nhostile devices: {measured['unreadable']} at once, peak {measured['after_mb']:.0f} MB, "
            f"{growth_mb:.0f} MB above good ones alone, {measured['duration_s']:.1f} s"
        )
    assert measured["unreadable"] >= COPIES * len(REASONS)
    assert growth_mb < MAX_GROWTH_MB
