"""A simulated year of a house in the store: five-minute readings, a nightly audit, changes at a realistic rate.

What belongs here: letting the house's year go by, and what it costs. What does not: the house (see `year_house`), how a
day is thinned or packed.
"""

import asyncio
import random
import statistics
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from benchmarks.measured import Benchmark, Measured, Size, shown
from benchmarks.year_audit import audit_figures
from benchmarks.year_house import LIMIT, LIMIT_CHANGE_DAYS, STATES, STEP_S, STEPS, TRACES, House
from pattress.model.finding import OUTCOMES
from pattress.store.encoding import milliseconds
from pattress.store.store import Store

FIRST = datetime(2026, 1, 1, 3, 10, tzinfo=UTC)
DAY = timedelta(days=1)
BYTES_A_YEAR = 20_000_000
SWITCHINGS = 8  # of each of two states of a device in a day


@dataclass
class _Costs:
    plain_bytes_a_day: float = 0.0
    peak_bytes: int = 0
    keep_ms: list[float] = field(default_factory=list)
    thin_ms: list[float] = field(default_factory=list)


def measure(size: Size) -> Benchmark:
    """Let a year go by; tell how large it left the database, and what it costs to keep, to ask and to audit."""
    count, days = size.of(full=60, tiny=2), size.of(full=365, tiny=12)
    house = House(count)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "year.db"
        figures = asyncio.run(_figures(house, path, days))
        audits, audit_notes = audit_figures(house, path, FIRST + days * DAY, times=size.of(full=5, tiny=1))
    rows = count * STEPS * days
    return Benchmark(
        title=f"year: {count} devices for {days} days, {rows:,} five-minute readings of {len(house.measured)} numbers",
        figures=[*figures, *audits],
        notes=[
            f"each device: {len(house.values[0])} settings, of which one changes every {LIMIT_CHANGE_DAYS} days, "
            f"firmware twice a year, two states that switch {SWITCHINGS} times a day",
            "five-minute rows go into the tables as keep_readings writes them; the last day goes through keep_readings",
            *audit_notes,
        ],
    )


async def _figures(house: House, path: Path, days: int) -> list[Measured]:
    """Let the days go by, and return what that and asking about them cost."""
    costs = _Costs()
    async with Store.open(path) as store:
        for day in range(days - 1):
            await _let_a_day_go_by(store, house, day, costs, path)
        round_ms = await _last_day_ms(store, house, days - 1, costs)
    async with Store.open(path) as store:  # closed and opened once: the write-ahead log is in the file
        closed_bytes = _size(path)
        past_ms = await _past_ms(store, house, days)
    return [
        Measured(
            what="the database", unit="MB", ours=closed_bytes / 1e6,
            reference=costs.plain_bytes_a_day * days / 1e6, beside="neither packed nor thinned",
            ours_at_most=BYTES_A_YEAR / 1e6,
        ),
        Measured(what="its largest size on the way, with its log", unit="MB", ours=costs.peak_bytes / 1e6),
        Measured(what="keeping the last audits (median)", unit="ms", ours=statistics.median(costs.keep_ms[-30:])),
        Measured(what="of the first ones", unit="ms", ours=statistics.median(costs.keep_ms[1:31])),
        Measured(what="packing and thinning after them", unit="ms", ours=statistics.median(costs.thin_ms[-30:])),
        Measured(what="keeping one five-minute round", unit="ms", ours=round_ms),
        *past_ms,
    ]  # fmt: skip


async def _let_a_day_go_by(store: Store, house: House, day: int, costs: _Costs, path: Path) -> None:
    """Let a night go by, then read every five minutes until the next one."""
    run = await _let_a_night_go_by(store, house, day, costs)
    before = await store._connection.read(_pages)
    await store._connection.write(lambda database: _insert_day(database, house, FIRST + day * DAY, run))
    if day == 0:
        costs.plain_bytes_a_day = await store._connection.read(_pages) - before
    costs.peak_bytes = max(costs.peak_bytes, _size(path) + _size(path.with_name(path.name + "-wal")))


async def _let_a_night_go_by(store: Store, house: House, day: int, costs: _Costs) -> int:
    """Audit at ten past three, then sign off what was changed; return the run."""
    at = FIRST + day * DAY
    ended_at = at + timedelta(seconds=20)
    changed = house.night(day) if day else range(house.count)
    readings = house.readings(at)
    findings = house.findings(readings, at)
    counted = Counter(finding.outcome for finding in findings)
    run = await store.begin_run(at, house.site.policy.digest)
    started_s = time.perf_counter()
    await store.keep_audit(
        run,
        devices=house.seen(at),
        readings=list(readings.values()),
        placed={f"point-{number}": house.identity(number) for number in range(house.count)},
        findings=findings,
        ended_at=ended_at,
        counts={outcome: counted[outcome] for outcome in OUTCOMES},
    )
    kept_s = time.perf_counter()
    await store.thin(ended_at)
    costs.keep_ms.append((kept_s - started_s) * 1_000)
    costs.thin_ms.append((time.perf_counter() - kept_s) * 1_000)
    await store.sign_off(house.sign_off(changed, ended_at))
    return run


def _insert_day(database: Database, house: House, at: datetime, run: int) -> None:
    """Insert what keep_readings would make of the five-minute readings until the next audit."""
    at_ms = milliseconds(at)
    numbers = house.numbers
    for number in range(house.count):
        key, layout = database.execute(
            "SELECT key, layout FROM device WHERE id = ?", [house.identity(number)]
        ).fetchone()
        if layout is None:  # it could not be read yet
            continue
        texts = house.texts[numbers.randrange(TRACES)]
        database.conn.executemany(
            "INSERT INTO reading VALUES (?, ?, ?, 1, NULL, ?, ?)",
            [
                (key, at_ms + step * STEP_S * 1_000 + numbers.randrange(1_000, 1_900), run, layout, texts[step])
                for step in range(STEPS)
            ],
        )
        for state in STATES:
            _switch(database, key, state, at_ms, numbers)


def _switch(database: Database, key: int, state: str, at_ms: int, numbers: random.Random) -> None:
    word = database.execute("SELECT key FROM word WHERE text = ?", [state]).fetchone()[0]
    steps = sorted(numbers.sample(range(STEPS), SWITCHINGS))
    times = [at_ms + step * STEP_S * 1_000 + 1_500 for step in steps]
    database.execute(
        "UPDATE span SET until = ? WHERE device = ? AND setting = ? AND until IS NULL", [times[0], key, word]
    )
    database.conn.executemany(
        "INSERT INTO span (device, setting, since, until, type, value) VALUES (?, ?, ?, ?, 0, ?)",
        [
            (key, word, since, until, (index + 1) % 2)
            for index, (since, until) in enumerate(zip(times, [*times[1:], None], strict=True))
        ],
    )


async def _last_day_ms(store: Store, house: House, day: int, costs: _Costs) -> float:
    """Let the last night and day go by; return the median time to keep one round of the house."""
    run = await _let_a_night_go_by(store, house, day, costs)
    traces = [house.traces[house.numbers.randrange(TRACES)] for _ in range(house.count)]
    took = []
    for step in range(STEPS):
        moment = FIRST + day * DAY + timedelta(seconds=step * STEP_S + 1)
        readings = [house.snapshot(number, moment, traces[number][step]) for number in range(house.count)]
        started_s = time.perf_counter()
        await store.keep_readings(run, readings)
        took.append(time.perf_counter() - started_s)
    return statistics.median(took) * 1_000


async def _past_ms(store: Store, house: House, days: int) -> list[Measured]:
    """Return the median times of questions about the past, each asked of random devices and moments."""
    took: dict[str, list[float]] = {}
    for _ in range(100):
        number, at = house.numbers.randrange(house.count), FIRST + house.numbers.random() * days * DAY
        device = house.identity(number)
        questions = {
            "history of a device at a moment": store.history(device, at=at),
            "history of a point at a moment": store.history_of_point(f"point-{number}", at=at),
            "a setting's whole history": store.history(device, LIMIT),
            "findings at a moment": store.findings_at(at),
            "power over the last two weeks": store.measurements(
                device, "meter.1.power_w", FIRST + (days - 14) * DAY, FIRST + days * DAY
            ),
            "energy over the year": store.measurements(device, "meter.1.energy_wh", FIRST, FIRST + days * DAY),
        }
        for what, question in questions.items():
            started_s = time.perf_counter()
            await question
            took.setdefault(what, []).append(time.perf_counter() - started_s)
    return [Measured(what=what, unit="ms", ours=statistics.median(each) * 1_000) for what, each in took.items()]


def _size(path: Path) -> int:
    return path.stat().st_size


def _pages(database: Database) -> int:
    count, size = (database.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    return int(count * size)


if __name__ == "__main__":
    print(shown(measure(Size(is_tiny=False)), is_judged=True))
