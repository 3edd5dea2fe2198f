"""Readings: one small row each, with the numbers that were measured. Settings go to spans.

What belongs here: what of a reading is kept where. What does not: judging it. Every function works inside a
transaction that somebody else began and ends.

What a setting's absence means:

- A device that gave a snapshot without it, and no error that could explain it, has stopped reporting it: its span
  is closed.
- A setting that could not be read keeps its span: nothing is known against it. An error about a setting is about
  that one; an error about anything else (a document) may hide any setting, so that all absent ones stay.
- A device that could not be read keeps all its spans.
"""

import json
from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import islice
from typing import assert_never

from sqlite_utils import Database

from pattress.model.kept import KeptReading, Measurement
from pattress.model.reading import ReadError, Reading, Snapshot, Unreadable
from pattress.model.vocabulary import definition_of
from pattress.store.days import newest_readings, readings_between
from pattress.store.encoding import (
    SqlValue,
    is_numeric_measurement,
    kept_text,
    milliseconds,
    moment_of,
    packed,
)
from pattress.store.lineage import device_key, ensured_device_key
from pattress.store.runs import started_at_of
from pattress.store.spans import keep_spans
from pattress.store.words import Words

# A reason can quote what a device sent, so that each reading may bring a new one. At 200 characters, 60 devices that
# all do so every night add 4.4 MB a year.
MAX_REASON_LENGTH = 200

Row = dict[str, SqlValue | None]


def keep_readings(database: Database, run: int, readings: Sequence[Reading]) -> None:
    """Keep readings in the order in which they came.

    Those of a run that has ended, taken until the next one, do not count among its results.

    Raises:
        ValueError: If there is no such run, or a reading's time has no time zone.
    """
    started_at_of(database, run)
    words = Words(database)
    rows = [_keep(database, words, run, reading) for reading in readings]
    database.table("reading").insert_all(rows, replace=True)
    read_count = sum(row["is_read"] == 1 for row in rows)
    database.execute(
        "UPDATE run SET read_count = read_count + ?, unreadable_count = unreadable_count + ?"
        " WHERE key = ? AND ended_at IS NULL",
        [read_count, len(rows) - read_count, run],
    )


def readings_of(database: Database, device_id: str, limit: int) -> list[KeptReading]:
    """Return the newest readings of a device, the newest first; none for an unknown device."""
    device = database.execute("SELECT key, id FROM device WHERE key = ?", [device_key(database, device_id)]).fetchone()
    if device is None:
        return []
    return [
        KeptReading(
            device=device[1],
            run=taken.run,
            taken_at=moment_of(taken.taken_at_ms),
            outcome="read" if taken.is_read else "unreadable",
            reason=taken.reason,
            measurements=taken.measured,
        )
        for taken in islice(newest_readings(database, device[0]), limit)
    ]


def measurements(
    database: Database, device_id: str, setting: str, since: datetime, until: datetime
) -> list[Measurement]:
    """Return what a device measured from `since` until just before `until`, the oldest first; none where unknown."""
    device = device_key(database, device_id)
    if device is None:
        return []
    return [
        Measurement(taken_at=moment_of(taken.taken_at_ms), value=taken.measured[setting])
        for taken in readings_between(database, device, milliseconds(since), milliseconds(until))
        if setting in taken.measured
    ]


def _keep(database: Database, words: Words, run: int, reading: Reading) -> Row:
    device = ensured_device_key(database, reading.device)
    row: Row = {
        "device": device,
        "taken_at": milliseconds(reading.taken_at),
        "run": run,
        "is_read": 0,
        "reason": None,
        "layout": None,
        "measured": None,
    }
    match reading:
        case Unreadable():
            database.execute("UPDATE device SET last_is_read = 0 WHERE key = ?", [device])
            return row | {"reason": words.key(kept_text(reading.reason, MAX_REASON_LENGTH))}
        case Snapshot():
            return row | {"is_read": 1} | _keep_snapshot(database, words, device, reading)
        case _:
            assert_never(reading)


def _keep_snapshot(database: Database, words: Words, device: int, snapshot: Snapshot) -> Row:
    taken_at_ms = milliseconds(snapshot.taken_at)
    last_read, layout = database.execute(
        "SELECT last_read, names FROM device LEFT JOIN layout ON layout.key = device.layout WHERE device.key = ?",
        [device],
    ).fetchone()
    at_ms = taken_at_ms if last_read is None else max(taken_at_ms, last_read)
    values = {name: reported.value for name, reported in snapshot.values.items()}
    measured: dict[str, int | float] = {
        name: value
        for name, value in values.items()
        if not isinstance(value, str) and is_numeric_measurement(name, value)
    }
    settings = {name: value for name, value in values.items() if name not in measured}
    keep_spans(database, words, device, settings, at_ms, _closing(snapshot.errors))
    names, numbers = packed(measured, json.loads(layout) if layout is not None else ())
    layout_key = words.layout_key(names) if names else None
    database.execute(
        "UPDATE device SET last_is_read = 1, last_read = :at, layout = :layout, kind = :kind,"
        " first_seen = ifnull(first_seen, :at), last_seen = max(ifnull(last_seen, :at), :at) WHERE key = :device",
        {"at": at_ms, "layout": layout_key, "kind": kept_text(snapshot.kind), "device": device},
    )
    return {
        "reason": words.key_or_none(_gaps(snapshot.errors)),
        "layout": layout_key if measured else None,
        "measured": numbers if measured else None,
    }


def _closing(errors: Sequence[ReadError]) -> Callable[[str], bool]:
    """Return whether a setting that is absent from a snapshot with these errors has ceased to be reported."""
    subjects = {error.subject for error in errors}
    if any(definition_of(subject) is None for subject in subjects):
        return lambda setting: False
    return lambda setting: setting not in subjects


def _gaps(errors: Sequence[ReadError]) -> str | None:
    """Return what of a snapshot could not be read, in words, None if all was."""
    if not errors:
        return None
    return kept_text(
        "not read: " + "; ".join(f"{error.subject}: {error.reason}" for error in errors), MAX_REASON_LENGTH
    )
