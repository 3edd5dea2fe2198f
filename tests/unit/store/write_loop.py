"""A process of its own that keeps readings and says each number once it is kept. Started by the tests."""

import asyncio
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pattress.model.reading import Reported, Snapshot
from pattress.store.store import Store

START = datetime(2026, 1, 1, tzinfo=UTC)


async def main(path: Path, device: str, first: int, count: int) -> None:
    async with Store.open(path) as store:
        run = await store.begin_run(START, "0" * 64)
        for number in range(first, first + count):
            values = {"health.restarts": number, "firmware.version": f"2.{number % 7}"}
            reading = Snapshot(
                device=device,
                kind="tidewire-r1",
                taken_at=START + timedelta(seconds=number),
                duration_s=0.1,
                values={name: Reported(value=value, origin="GET /facts") for name, value in values.items()},
            )
            await store.keep_readings(run, [reading])
            sys.stdout.write(f"{number}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])))
