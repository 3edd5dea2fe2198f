"""What keeping costs: bytes for a reading that changed nothing, and the time of one audit's keeping."""

import asyncio
import contextlib
import json
import random
import sqlite3
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.unit.store.growth import growth_of_unchanged_readings, unchanged_reading

from benchmarks.documents import KIND, mac_of, profile
from benchmarks.house import HOUSE_NETWORKS, PLANNED, reported_by
from benchmarks.measured import Benchmark, Measured, Size
from pattress.model.device import Device, Sighting
from pattress.model.finding import Finding, Subject
from pattress.model.plan import Point
from pattress.model.reading import Snapshot
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.evaluate import evaluate
from pattress.site.load import load_policy
from pattress.store.store import Store

BYTES_A_YEAR = 20_000_000  # 60 devices, read every night
READINGS_A_YEAR = 60 * 365
START = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)


def measure(size: Size) -> Benchmark:
    """Keep nights of unchanged readings in a new database, and the same as JSON in a plain table."""
    count = size.of(full=60, tiny=3)
    with tempfile.TemporaryDirectory() as folder:
        growth = asyncio.run(
            growth_of_unchanged_readings(
                Path(folder) / "growth.db", device_count=count, nights=size.of(full=60, tiny=3)
            )
        )
        ours_ms, plain_ms = asyncio.run(_keeping_ms(Path(folder), count, nights=size.of(full=9, tiny=2)))
    raw_bytes = len(_as_json(unchanged_reading(0, START, random.Random(20260301))))
    return Benchmark(
        title=f"store_growth: {count} devices whose settings stay as they are",
        figures=[
            Measured(
                what="an unchanged reading", unit="bytes", ours=growth.bytes_per_reading, reference=raw_bytes,
                beside="its JSON", ours_at_most=BYTES_A_YEAR // READINGS_A_YEAR,
            ),
            Measured(
                what="keeping one audit", unit="ms", ours=ours_ms, reference=plain_ms,
                beside="its JSON in a plain table",
            ),
        ],
        notes=[f"60 devices read every night: {growth.bytes_per_reading * READINGS_A_YEAR / 1e6:.1f} MB a year"],
    )  # fmt: skip


async def _keeping_ms(folder: Path, count: int, nights: int) -> tuple[float, float]:
    """Return the best time to keep an unchanged audit, ours and in a plain table, in turn; the first night is new."""
    ours, plain = [], []
    checks = CompiledPolicy(load_policy("isolated-house", folder), HOUSE_NETWORKS).checks(
        profile(80), Point(name="point", room="Hall", kind=KIND, settings=PLANNED)
    )
    with contextlib.closing(sqlite3.connect(folder / "plain.db", isolation_level=None)) as table:
        table.execute("PRAGMA journal_mode = WAL")
        table.execute("PRAGMA synchronous = FULL")
        table.execute("CREATE TABLE reading (device TEXT, taken_at TEXT, settings TEXT)")
        async with Store.open(folder / "audits.db") as store:
            for night in range(nights):
                at = START + timedelta(days=night)
                readings = [_snapshot(number, at) for number in range(count)]
                devices = [_device(number, at) for number in range(count)]
                findings = [
                    finding
                    for number, reading in enumerate(readings)
                    for finding in evaluate(checks, Subject(device=reading.device, point=f"point-{number}"), reading)
                ]
                started_s = time.perf_counter()
                await _keep(store, at, devices, readings, findings)
                kept_s = time.perf_counter()
                _keep_plainly(table, readings)
                ours.append(kept_s - started_s)
                plain.append(time.perf_counter() - kept_s)
    return min(ours[1:]) * 1_000, min(plain[1:]) * 1_000


async def _keep(
    store: Store, at: datetime, devices: Sequence[Device], readings: Sequence[Snapshot], findings: Sequence[Finding]
) -> None:
    run = await store.begin_run(at, "0" * 64)
    await store.keep_devices(run, devices)
    await store.keep_readings(run, readings)
    await store.keep_findings(run, findings, at)
    await store.end_run(run, at, {"met": len(findings)})


def _keep_plainly(table: sqlite3.Connection, readings: Sequence[Snapshot]) -> None:
    table.execute("BEGIN IMMEDIATE")
    table.executemany(
        "INSERT INTO reading VALUES (?, ?, ?)",
        [(one.device, one.taken_at.isoformat(), _as_json(one)) for one in readings],
    )
    table.execute("COMMIT")


def _as_json(reading: Snapshot) -> str:
    return json.dumps({name: reported.value for name, reported in reading.values.items()})


def _snapshot(number: int, at: datetime) -> Snapshot:
    values = reported_by(number)
    return Snapshot(device=f"mac:{mac_of(number)}", kind=KIND, taken_at=at, duration_s=0.5, values=values)


def _device(number: int, at: datetime) -> Device:
    mac = mac_of(number)
    address = f"192.0.2.{number + 1}"
    seen = Sighting(source="mdns", seen_at=at, name=f"pair {number}", address=address, mac=mac, kind=KIND)
    return Device(
        id=f"mac:{mac}", mac=mac, serial=None, name=seen.name, kind=KIND, addresses=((address, 80),), sightings=(seen,)
    )
