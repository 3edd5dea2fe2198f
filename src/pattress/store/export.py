"""Everything that is kept, as JSON Lines: one object for each row, which says what it is.

The first line is `{"type": "schema", "schema": "pattress.store-export/1", ...}`, the last `{"type": "end", "rows": n}`
with the number of lines between them, so that a cut file can be told. Devices, points, rules and settings are named as
everywhere else; times are UTC in the form of RFC 3339. A line only gains fields within the version.

What belongs here: the rows. What does not: where they go.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from pattress.store.close_in_samples import sample_rows
from pattress.store.close_ins import close_ins, tries_of
from pattress.store.days import newest_readings
from pattress.store.encoding import moment_of
from pattress.store.encounters import company, encounters, hearings
from pattress.store.findings import all_findings
from pattress.store.migrations import schema_number
from pattress.store.opening import open_database
from pattress.store.placements import placements
from pattress.store.refusals import refusals_of
from pattress.store.runs import runs
from pattress.store.sign_offs import all_sign_offs
from pattress.store.spans import history
from pattress.store.told import all_told, places, templates

SCHEMA = "pattress.store-export/1"
ALL = -1  # SQLite's word for no limit

Row = dict[str, Any]


def export(path: Path, write: Callable[[str], object], exported_at: datetime) -> int:
    """Write everything of one moment, line by line, and return how many rows that was.

    Raises:
        StoreError: If the database cannot be read.
    """
    database = open_database(path, is_read_only=True)
    try:
        with refusals_of(path), database.atomic():
            schema = {"schema": SCHEMA, "database_schema": schema_number(database), "exported_at": exported_at}
            write(_line("schema", schema))
            count = 0
            for kind, row in _rows(database):
                write(_line(kind, row))
                count += 1
            write(_line("end", {"rows": count}))
            return count
    finally:
        database.close()


def _rows(database: Database) -> Iterator[tuple[str, Row]]:
    yield from (("run", asdict(one)) for one in runs(database, ALL))
    devices = list(database.query("SELECT * FROM device ORDER BY id"))
    for device in devices:
        yield "device", _device(device)
    yield from (
        ("former_id", row)
        for row in database.query(
            "SELECT former_id.id, device.id AS device FROM former_id JOIN device ON device.key = device ORDER BY 1"
        )
    )
    for device in devices:
        yield from chain(_sightings(database, device), _spans(database, device), _readings(database, device))
        yield from _watched(database, device)
    yield from (("finding", asdict(one)) for one in all_findings(database))
    yield from (("sign_off", asdict(one)) for one in all_sign_offs(database))
    yield from (("placement", asdict(one)) for one in placements(database))
    yield from _close_ins(database)
    yield from (("hearing", asdict(one)) for one in hearings(database, None, None))
    yield from (("told", asdict(one)) for one in all_told(database))
    yield from (("template", asdict(one) | {"record": one.record.hex()}) for one in templates(database))
    yield from (("place", {"source": source, "place": place}) for source, place in places(database).items())


def _device(row: Row) -> Row:
    outcomes = {None: None, 0: "unreadable", 1: "read"}
    return {
        **{name: row[name] for name in ("id", "mac", "serial", "name", "kind", "address", "port")},
        **{name: _moment(row[name]) for name in ("first_seen", "last_seen", "last_read")},
        "last_outcome": outcomes[row["last_is_read"]],
    }


def _sightings(database: Database, device: Row) -> Iterator[tuple[str, Row]]:
    rows = database.query(
        "SELECT source, name, address, first_seen, last_seen, count FROM sighting WHERE device = ?", [device["key"]]
    )
    for row in rows:
        times = {"first_seen": _moment(row["first_seen"]), "last_seen": _moment(row["last_seen"])}
        named = {"name": row["name"] or None, "address": row["address"] or None}
        yield "sighting", {"device": device["id"]} | row | named | times


def _spans(database: Database, device: Row) -> Iterator[tuple[str, Row]]:
    yield from (("span", {"device": device["id"]} | asdict(one)) for one in history(database, device["id"], None))


def _readings(database: Database, device: Row) -> Iterator[tuple[str, Row]]:
    for taken in newest_readings(database, device["key"]):
        yield (
            "reading",
            {
                "device": device["id"],
                "run": taken.run,
                "taken_at": _moment(taken.taken_at_ms),
                "outcome": "read" if taken.is_read else "unreadable",
                "reason": taken.reason,
                "measurements": dict(taken.measured),
            },
        )


def _watched(database: Database, device: Row) -> Iterator[tuple[str, Row]]:
    yield from (("encounter", asdict(one)) for one in encounters(database, None, None, device["id"]))
    yield from (("company", asdict(one)) for one in company(database, None, device["id"]))


def _close_ins(database: Database) -> Iterator[tuple[str, Row]]:
    checks = close_ins(database, None)
    for check in checks:
        row = asdict(check)
        del row["results"]
        yield "close_in", row
    for check in checks:
        for result in tries_of(database, check.id, None):
            row = asdict(result)
            del row["samples"]
            yield "close_in_step", {"close_in": check.id} | row
    for number, step, attempt, samples in sample_rows(database):
        where = {"close_in": number, "step": step, "number": attempt}
        yield "close_in_samples", where | {"samples": [asdict(one) for one in samples]}


def _moment(at_ms: int | None) -> datetime | None:
    return None if at_ms is None else moment_of(at_ms)


def _line(kind: str, row: Row) -> str:
    return json.dumps({"type": kind} | row, default=_time, separators=(",", ":")) + "\n"


def _time(value: object) -> str:
    if not isinstance(value, datetime):
        raise TypeError(f"{value!r} has no place in an export")
    return value.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
