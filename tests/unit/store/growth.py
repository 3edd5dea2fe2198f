"""How much a database grows by readings that change nothing. No tests here; the benchmarks use it too."""

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pattress.model.reading import Reported, Snapshot
from pattress.model.vocabulary import Value
from pattress.store.store import Store

START = datetime(2026, 1, 1, 2, 30, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """What `nights` of unchanged settings added to a closed database file."""

    bytes_before: int
    bytes_after: int
    reading_count: int

    @property
    def bytes_per_reading(self) -> float:
        return (self.bytes_after - self.bytes_before) / self.reading_count


async def growth_of_unchanged_readings(path: Path, *, device_count: int, nights: int) -> Growth:
    """Fill a new database and measure it.

    Each device is a metered double relay: 24 settings that stay, 11 measurements that differ every night, as they do.
    """
    numbers = random.Random(20260101)
    async with Store.open(path) as store:
        run = await store.begin_run(START, "0" * 64)
        readings = [unchanged_reading(device, START, numbers) for device in range(device_count)]
        await store.keep_readings(run, readings)
        await store.end_run(run, START, {})
    bytes_before = _size(path)
    async with Store.open(path) as store:
        for night in range(1, nights + 1):
            at = START + timedelta(days=night)
            run = await store.begin_run(at, "0" * 64)
            readings = [unchanged_reading(device, at, numbers) for device in range(device_count)]
            await store.keep_readings(run, readings)
            await store.end_run(run, at, {"met": 24 * device_count})
    return Growth(bytes_before=bytes_before, bytes_after=_size(path), reading_count=device_count * nights)


def unchanged_reading(device: int, at: datetime, numbers: random.Random) -> Snapshot:
    """One reading of a device: the same settings each time, and measurements drawn from `numbers`."""
    values = _SETTINGS | _measurements(numbers)
    return Snapshot(
        device=f"serial:{device:06}",
        kind="tidewire-d2",
        taken_at=at + timedelta(milliseconds=numbers.randrange(5000)),
        duration_s=0.3,
        values={name: Reported(value=value, origin="GET /facts") for name, value in values.items()},
    )


def _size(path: Path) -> int:
    return path.stat().st_size


def _measurements(numbers: random.Random) -> dict[str, Value]:
    measured: dict[str, Value] = {
        "net.rssi_dbm": numbers.randint(-85, -45),
        "health.temperature_c": round(numbers.uniform(30, 60), 1),
        "health.uptime_s": numbers.randrange(10_000_000),
    }
    for channel in (1, 2):
        measured |= {
            f"meter.{channel}.power_w": round(numbers.uniform(0, 2000), 1),
            f"meter.{channel}.voltage_v": round(numbers.uniform(220, 240), 1),
            f"meter.{channel}.current_a": round(numbers.uniform(0, 9), 3),
            f"meter.{channel}.energy_wh": round(numbers.uniform(0, 9_000_000), 2),
        }
    return measured


_SETTINGS: dict[str, Value] = {
    "maker": "Tidewire",
    "model": "D2",
    "firmware.version": "2.1.0",
    "firmware.updates": "manual",
    "cloud.enabled": False,
    "mqtt.enabled": True,
    "mqtt.host": "192.0.2.2",
    "mqtt.port": 1883,
    "mqtt.tls": False,
    "mqtt.authenticated": True,
    "net.address": "192.0.2.17",
    "net.address_source": "dhcp",
    "net.ssid": "house-iot",
    "time.server": "192.0.2.1",
    "time.zone": "Europe/Lisbon",
    "access.password_set": True,
    **{f"output.{channel}.at_power_up": "off" for channel in (1, 2)},
    **{f"output.{channel}.over_temperature.enabled": True for channel in (1, 2)},
    **{f"input.{channel}.contact": "maintained" for channel in (1, 2)},
    **{f"input.{channel}.action": "copies" for channel in (1, 2)},
}
