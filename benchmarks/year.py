"""A simulated year of a house in the store: five-minute readings, a nightly audit, changes at a realistic rate.

What belongs here: the house's year, and what it costs. What does not: how a day is thinned or packed.
"""

import asyncio
import random
import statistics
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from benchmarks.documents import KIND, bodies, mac_of, profile
from benchmarks.house import seen_device
from benchmarks.measured import Benchmark, Measured, Size, shown
from pattress.model.device import Device
from pattress.model.finding import Finding, Subject
from pattress.model.kept import SignOff
from pattress.model.reading import Reading, Reported, Snapshot, Unreadable
from pattress.model.rules import Rule
from pattress.model.vocabulary import Value, definition_of
from pattress.reading.extract import Extractor
from pattress.store.encoding import milliseconds, packed
from pattress.store.store import Store
from pattress.wire.decode import decode_json

FIRST = datetime(2026, 1, 1, 3, 10, tzinfo=UTC)
DAY = timedelta(days=1)
STEP_S = 300
STEPS = 288  # five-minute readings a day
TRACES = 64  # distinct days of measurements; a device's day is one of them by chance. Each is packed by itself
BYTES_A_YEAR = 20_000_000
SETTING_CHANGE_DAYS = 60  # between two changes of a setting of one device
FIRMWARE_NIGHTS = (100, 280)
UNREADABLE_SHARE = 0.005  # of devices, on any night
FAULT_SHARE = 1 / 90  # of devices, of which something breaks on any night
FAULT_DAYS = 3
ALWAYS_BROKEN = 6  # findings that nobody mends
SWITCHINGS = 8  # of each of two states of a device in a day
STATES = ("output.1.on", "input.1.closed")


@dataclass
class _Costs:
    plain_bytes_a_day: float = 0.0
    peak_bytes: int = 0
    keep_ms: list[float] = field(default_factory=list)
    thin_ms: list[float] = field(default_factory=list)


def measure(size: Size) -> Benchmark:
    """Let a year go by; tell how large it left the database, and what it costs to keep and to ask."""
    count, days = size.of(full=60, tiny=2), size.of(full=365, tiny=12)
    with tempfile.TemporaryDirectory() as folder:
        return asyncio.run(_measured(Path(folder) / "year.db", count, days))


async def _measured(path: Path, count: int, days: int) -> Benchmark:
    house = _House(count)
    costs = _Costs()
    async with Store.open(path) as store:
        for day in range(days):
            await _let_a_day_go_by(store, house, day, costs, path)
        round_ms = await _rounds_ms(store, house, days)
    async with Store.open(path) as store:  # closed and opened once: the write-ahead log is in the file
        closed_bytes = _size(path)
        past_ms = await _past_ms(store, house, days)
    rows = count * STEPS * days
    return Benchmark(
        title=f"year: {count} devices for {days} days, {rows:,} five-minute readings of {len(house.measured)} numbers",
        figures=[
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
        ],
        notes=[
            f"each device: 40 settings, of which one changes every {SETTING_CHANGE_DAYS} days, firmware twice a year, "
            f"two states that switch {SWITCHINGS} times a day",
            "five-minute rows go into the tables as keep_readings writes them; the last day goes through keep_readings",
        ],
    )  # fmt: skip


class _House:
    """The devices, what they report now, and what is broken now. Everything follows from one seed."""

    def __init__(self, count: int) -> None:
        self.numbers = random.Random(20260101)
        self.count = count
        self.values = [_values(number) for number in range(count)]
        self.measured = sorted(_trace(self.numbers, 1)[0])
        self.traces = [_trace(self.numbers, STEPS) for _ in range(TRACES)]
        self.texts = [[packed(one, self.measured)[1] for one in trace] for trace in self.traces]
        self.broken: dict[tuple[int, str], int] = {(number, "mqtt.tls"): 10_000 for number in range(ALWAYS_BROKEN)}

    def identity(self, number: int) -> str:
        return f"mac:{mac_of(number)}"

    def night(self, day: int) -> list[int]:
        """Let a night's changes happen; return the devices whose settings were changed."""
        changed = []
        for number in range(self.count):
            if self.numbers.random() < 1 / SETTING_CHANGE_DAYS:
                changed.append(number)
                self.values[number]["output.1.over_temperature.limit_c"] = self.numbers.randrange(60, 95)
            if day in FIRMWARE_NIGHTS:
                self.values[number]["firmware.version"] = f"3.{day}.0"
            if self.numbers.random() < FAULT_SHARE:
                self.broken[(number, self.numbers.choice(["cloud.enabled", "input.1.action"]))] = day + FAULT_DAYS
        self.broken = {key: until for key, until in self.broken.items() if until > day}
        return changed

    def readings(self, at: datetime) -> dict[int, Reading]:
        readings: dict[int, Reading] = {}
        for number in range(self.count):
            if self.numbers.random() < UNREADABLE_SHARE:
                reason = "no complete answer within 30 s"
                readings[number] = Unreadable(device=self.identity(number), kind=KIND, taken_at=at, reason=reason)
            else:
                readings[number] = self.snapshot(number, at, self.traces[self.numbers.randrange(TRACES)][0])
        return readings

    def snapshot(self, number: int, at: datetime, measured: Mapping[str, Value]) -> Snapshot:
        values = {**self.values[number], **measured}
        return Snapshot(
            device=self.identity(number),
            kind=KIND,
            taken_at=at + timedelta(milliseconds=self.numbers.randrange(900)),
            duration_s=0.5,
            values={name: Reported(value=value, origin="GET /lines") for name, value in values.items()},
        )

    def devices(self, at: datetime) -> list[Device]:
        return [seen_device(number, at) for number in range(self.count)]

    def findings(self, readings: Mapping[int, Reading]) -> list[Finding]:
        found = []
        for number, reading in readings.items():
            subject = Subject(device=self.identity(number), point=f"point-{number}", room="Hall", kind=KIND)
            for setting in _JUDGED:
                rule = Rule(id=f"as-{setting}", title=setting, severity="fault", because="Safety.", fix="Set it.")
                if not isinstance(reading, Snapshot):
                    found.append(Finding(rule, subject, setting, "unverified", "false", remark=reading.reason))
                elif (number, setting) in self.broken:
                    found.append(Finding(rule, subject, setting, "broken", "false", value=True))
        return found


async def _let_a_day_go_by(store: Store, house: _House, day: int, costs: _Costs, path: Path) -> None:
    """Audit at ten past three, sign off what was changed, then read every five minutes until the next audit."""
    at = FIRST + day * DAY
    changed = house.night(day) if day else range(house.count)
    readings = house.readings(at)
    run = await store.begin_run(at, "0" * 64)
    started_s = time.perf_counter()
    await store.keep_audit(
        run,
        devices=house.devices(at),
        readings=list(readings.values()),
        placed={f"point-{number}": house.identity(number) for number in range(house.count)},
        findings=house.findings(readings),
        ended_at=at + timedelta(seconds=20),
        counts={"met": 14 * house.count},
    )
    kept_s = time.perf_counter()
    await store.thin(at + timedelta(seconds=20))
    costs.keep_ms.append((kept_s - started_s) * 1_000)
    costs.thin_ms.append((time.perf_counter() - kept_s) * 1_000)
    await store.sign_off(
        [
            SignOff(device=house.identity(number), point=f"point-{number}", at=at, who="Wren Okafor",
                    why="as agreed with the owner", values=house.values[number])
            for number in changed
        ]
    )  # fmt: skip
    before = await store._connection.read(_pages)
    await store._connection.write(lambda database: _insert_day(database, house, at, run))
    if day == 0:
        costs.plain_bytes_a_day = await store._connection.read(_pages) - before
    costs.peak_bytes = max(costs.peak_bytes, _size(path) + _size(path.with_name(path.name + "-wal")))


def _insert_day(database: Database, house: _House, at: datetime, run: int) -> None:
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


async def _rounds_ms(store: Store, house: _House, days: int) -> float:
    """Return the median time to keep one round of the house, over a day of them."""
    at = FIRST + days * DAY
    run = await store.begin_run(at, "0" * 64)
    traces = [house.traces[house.numbers.randrange(TRACES)] for _ in range(house.count)]
    took = []
    for step in range(STEPS):
        moment = at + timedelta(seconds=step * STEP_S)
        readings = [house.snapshot(number, moment, traces[number][step]) for number in range(house.count)]
        started_s = time.perf_counter()
        await store.keep_readings(run, readings)
        took.append(time.perf_counter() - started_s)
    return statistics.median(took) * 1_000


async def _past_ms(store: Store, house: _House, days: int) -> list[Measured]:
    """Return the median times of questions about the past, each asked of random devices and moments."""
    took: dict[str, list[float]] = {}
    for _ in range(100):
        number, at = house.numbers.randrange(house.count), FIRST + house.numbers.random() * days * DAY
        device = house.identity(number)
        questions = {
            "history of a device at a moment": store.history(device, at=at),
            "history of a point at a moment": store.history_of_point(f"point-{number}", at=at),
            "a setting's whole history": store.history(device, "output.1.over_temperature.limit_c"),
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


def _values(number: int) -> dict[str, Value]:
    """Return the settings of a device, and its states at the end of the night, less its measurements."""
    extractor = Extractor(profile(80))
    values: dict[str, Value] = {}
    for path, body in bodies(number).items():
        found, _ = extractor.extract(path.removeprefix("/"), decode_json(body))
        values |= {name: reported.value for name, reported in found.items()}
    definitions = {name: definition_of(name) for name in values}
    chosen = {name: values[name] for name, one in definitions.items() if one is not None and one.nature == "setting"}
    return chosen | dict.fromkeys(STATES, False)


def _trace(numbers: random.Random, steps: int) -> list[dict[str, int | float]]:
    """Return a day of ten measurements of a lamp that is on now and then, each with the noise that meters have."""
    return list(_measurements(numbers, steps))


def _measurements(numbers: random.Random, steps: int) -> Iterator[dict[str, int | float]]:
    is_on, lamp_w = False, numbers.uniform(5, 200)
    volts, warmth, strength = numbers.uniform(226, 236), numbers.uniform(35, 50), numbers.randrange(-75, -45)
    energy, uptime = numbers.uniform(1e4, 1e6), numbers.randrange(100_000)
    for _ in range(steps):
        is_on ^= numbers.random() < 0.04
        volts = min(max(volts + numbers.gauss(0, 0.4), 222), 240)
        warmth += numbers.gauss(0, 0.12) + 0.02 * ((52 if is_on else 38) - warmth)
        strength = min(max(strength + numbers.choice((-2, -1, 0, 0, 1, 2)), -85), -40)
        watts = round(max(0.1, lamp_w * numbers.gauss(1, 0.01)), 1) if is_on else 0.0
        energy += watts * STEP_S / 3600
        uptime += STEP_S
        yield {
            "net.rssi_dbm": strength,
            "health.temperature_c": round(warmth, 1),
            "health.uptime_s": uptime,
            "health.free_memory_bytes": 40_960 + 8 * numbers.randrange(-60, 60),
            "health.restarts": 3,
            "meter.1.power_w": watts,
            "meter.1.voltage_v": round(volts, 1),
            "meter.1.current_a": round(watts / volts, 3),
            "meter.1.energy_wh": round(energy, 2),
            "meter.1.power_factor": round(min(1.0, numbers.gauss(0.93, 0.005)), 2) if is_on else 0.0,
        }


_JUDGED = ("cloud.enabled", "input.1.action", "mqtt.tls", *(f"judged.{number}" for number in range(11)))

if __name__ == "__main__":
    print(shown(measure(Size(is_tiny=False)), is_judged=True))
