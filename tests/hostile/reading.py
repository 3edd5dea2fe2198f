"""Reading of hostile devices: one process serves them, another (the test, or this as a program) reads them all at once.

Run as a program, with the ports as JSON, it prints how much memory that took.
"""

import asyncio
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from hostile.devices import ANSWER_S, GOOD_DEVICES, PATIENT_S, misdeeds
from pattress.model.profile import Access
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.model.site import Credential, Secret
from pattress.reading.target import Target
from unit.reading.stand import OPEN_FACTS, document, open_reader, profile, target

TESTS = Path(__file__).parents[1]
ENVIRONMENT = {"PATH": os.environ["PATH"], "PYTHONPATH": str(TESTS)}

Ports = Mapping[str, list[int]]
CREDENTIAL = Credential(secret=Secret("tide-7"), user="warden")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of reading all of them: each reading with its duration, and the longest turn of the loop.

    The turn is in time of the processor, which a busy machine does not make longer.
    """

    readings: Mapping[str, Reading]
    durations_s: Mapping[str, float]
    longest_turn_s: float


@contextmanager
def served(elsewhere: int, *, copies: int = 1) -> Iterator[Ports]:
    """Serve so many of each hostile device, and good ones, from a process of their own; yield their ports by name."""
    command = [sys.executable, "-m", "hostile.devices", str(elsewhere), str(copies)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=ENVIRONMENT
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            yield json.loads(process.stdout.readline())
        finally:
            process.stdin.close()
            process.wait(10)


async def read_all(ports: Ports) -> Outcome:
    """Read every device at once. The first of each has its plain name, a further one a number behind it."""
    durations_s: dict[str, float] = {}
    longest_turn_s = 0.0

    async def beat() -> None:
        nonlocal longest_turn_s
        while True:
            before = time.thread_time()
            await asyncio.sleep(0)
            longest_turn_s = max(longest_turn_s, time.thread_time() - before)
            await asyncio.sleep(0.001)

    async with (
        open_reader(answer_s=ANSWER_S, device_s=30, at_once=1000) as hasty,
        open_reader(answer_s=PATIENT_S, device_s=30, at_once=1000) as patient,
    ):
        slow = {one.name for one in misdeeds(elsewhere=0) if one.is_slow}

        async def read(name: str, device: Target) -> tuple[str, Reading]:
            started_at = time.perf_counter()
            reading = await (hasty if name.partition(", ")[0] in slow else patient).read(device)
            durations_s[name] = time.perf_counter() - started_at
            return name, reading

        heart = asyncio.create_task(beat(), name="heart")
        try:
            readings = dict(await asyncio.gather(*(read(*one) for one in _targets(ports))))
        finally:
            heart.cancel()
            await asyncio.gather(heart, return_exceptions=True)
    return Outcome(readings, durations_s, longest_turn_s)


def _targets(ports: Ports) -> Iterator[tuple[str, Target]]:
    kinds = {f"good {number}": profile(OPEN_FACTS) for number in range(GOOD_DEVICES)}
    for one in misdeeds(elsewhere=0):
        access = Access(scheme=one.scheme, credential="digest" if one.asks_credentials else "none")  # type: ignore[arg-type]
        kinds[one.name] = profile(document("facts", is_open=not one.asks_credentials), access=access)
    for name, kind in kinds.items():
        for copy, port in enumerate(ports[name]):
            yield f"{name}, {copy}" if copy else name, target(port, kind=kind, credential=CREDENTIAL)


def peak_mb() -> float:
    """Return the most memory that this process has held so far."""
    status = Path("/proc/self/status")
    if status.exists():  # on Linux `ru_maxrss` begins with what the parent held when it started us
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_000_000


def main() -> None:
    """Print the peak of memory before, and after reading all of them at once."""
    ports: Ports = json.loads(sys.argv[1])
    good = {name: found if name.startswith("good") else [] for name, found in ports.items()}
    asyncio.run(read_all(good))
    before_mb = peak_mb()
    started_at = time.perf_counter()
    outcome = asyncio.run(read_all(ports))
    print(
        json.dumps(
            {
                "read": sum(isinstance(reading, Snapshot) for reading in outcome.readings.values()),
                "unreadable": sum(isinstance(reading, Unreadable) for reading in outcome.readings.values()),
                "before_mb": before_mb,
                "after_mb": peak_mb(),
                "duration_s": time.perf_counter() - started_at,
            }
        )
    )


if __name__ == "__main__":
    main()
