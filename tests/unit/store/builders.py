"""Small examples of what the store keeps, and a look at its tables. No tests here."""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from pattress.model.device import Device, Sighting, SightingSource
from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.reading import ReadError, Reported, Snapshot, Unreadable
from pattress.model.rules import Rule, Severity
from pattress.model.vocabulary import Value
from pattress.store.migrations import MIGRATIONS, migrate

NIGHT = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)
MAC = "02:00:5e:00:53:01"
HALL = f"mac:{MAC}"

RELAY: dict[str, Value] = {
    "maker": "Tidewire",
    "firmware.version": "2.1.0",
    "output.1.at_power_up": "off",
    "output.1.on": True,
    "mqtt.port": 1883,
    "net.rssi_dbm": -61,
    "meter.1.power_w": 41.7,
    "health.uptime_s": 86_400,
}


def minutes(count: float) -> datetime:
    return NIGHT + timedelta(minutes=count)


def snapshot(
    values: Mapping[str, Value] = RELAY,
    *,
    device: str = HALL,
    at: datetime = NIGHT,
    errors: Mapping[str, str] | None = None,
) -> Snapshot:
    return Snapshot(
        device=device,
        kind="tidewire-r1",
        taken_at=at,
        duration_s=0.2,
        values={name: Reported(value=value, origin="GET /facts") for name, value in values.items()},
        errors=tuple(ReadError(subject=subject, reason=reason) for subject, reason in (errors or {}).items()),
    )


def unreadable(reason: str = "no answer within 5 s", *, device: str = HALL, at: datetime = NIGHT) -> Unreadable:
    return Unreadable(device=device, kind=None, taken_at=at, reason=reason)


def sighting(
    name: str | None = "Quill-1",
    *,
    source: SightingSource = "mdns",
    at: datetime = NIGHT,
    address: str | None = "192.0.2.17",
    mac: str | None = None,
    serial: str | None = None,
    kind: str | None = "tidewire-r1",
    is_dated: bool = True,
) -> Sighting:
    return Sighting(
        source=source,
        seen_at=at,
        name=name,
        address=address,
        port=80,
        mac=mac,
        serial=serial,
        kind=kind,
        is_dated=is_dated,
    )


def device(*sightings: Sighting, mac: str | None = None, serial: str | None = None, name: str | None = None) -> Device:
    """A device of these sightings, with the id that the strongest of its marks gives it."""
    marks = {"mac": mac, "serial": serial, "name": name}
    kind, mark = next((kind, mark) for kind, mark in marks.items() if mark is not None)
    return Device(
        id=f"{kind}:{mark}",
        mac=mac,
        serial=serial,
        name=name,
        kind="tidewire-r1",
        addresses=tuple((one.address, one.port) for one in sightings if one.address is not None),
        sightings=sightings,
    )


def finding(
    outcome: Outcome = "broken",
    *,
    rule: str = "power-up",
    severity: Severity = "fault",
    setting: str | None = "output.1.at_power_up",
    about: Subject | None = None,
    expected: str = '"off"',
    value: Value | None = "on",
    remark: str | None = None,
) -> Finding:
    return Finding(
        rule=Rule(id=rule, title="Stays off after a power cut", severity=severity, because="Heat.", fix="Set it."),
        subject=about if about is not None else Subject(device=HALL, point="hall-lights"),
        setting=setting,
        outcome=outcome,
        expected=expected,
        value=value,
        remark=remark,
    )


@contextmanager
def opened(path: Path) -> Iterator[Database]:
    """A migrated database on this thread, for the laws that need many of them."""
    connection = sqlite3.connect(path, isolation_level=None)
    database = Database(connection, execute_plugins=False)
    database.execute("PRAGMA foreign_keys = ON")
    migrate(database, MIGRATIONS, NIGHT)
    try:
        yield database
    finally:
        database.close()


def ask(path: Path, sql: str) -> list[tuple[object, ...]]:
    """Look into a database file past the store."""
    connection = sqlite3.connect(path)
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def row_counts(path: Path) -> dict[str, int]:
    """How many rows each table of a database file has."""
    tables = [str(name) for (name,) in ask(path, "SELECT name FROM sqlite_schema WHERE type = 'table'")]
    return {table: int(str(ask(path, f'SELECT count(*) FROM "{table}"')[0][0])) for table in tables}


def files_in(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.iterdir())
