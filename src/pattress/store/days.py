"""A device's readings by day: few in a day stand in rows of their own, many are packed into one.

What belongs here: reading and writing both forms as one. What does not: which readings stay (see `thinning`). Every
function works inside a transaction that somebody else began and ends.
"""

import heapq
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from sqlite_utils import Database

from pattress.store.encoding import packed, unpacked
from pattress.store.packing import Taken, pack, unpack
from pattress.store.words import Words

DAY_MS = 86_400_000
FEW = 8  # a packed day of so many readings takes as much room as their own rows do; an audit a night is never packed
EVER_MS = 1 << 62


def newest_readings(database: Database, device: int) -> Iterator[Taken]:
    """Yield all readings of a device, the newest first; of one that has both forms, the row of its own."""
    return _newest_between(database, device, -EVER_MS, EVER_MS)


def readings_between(database: Database, device: int, since_ms: int, until_ms: int) -> list[Taken]:
    """Return the readings of a device from one moment until just before another, the oldest first."""
    newest = _newest_between(database, device, since_ms, until_ms)
    return [taken for taken in newest if since_ms <= taken.taken_at_ms < until_ms][::-1]


def readings_of_day(database: Database, device: int, day: int) -> list[Taken]:
    """Return the readings of a device on one day, the oldest first."""
    return readings_between(database, device, day * DAY_MS, (day + 1) * DAY_MS)


def keep_day(database: Database, device: int, day: int, stage: int, readings: Sequence[Taken]) -> None:
    """Let these be all the readings of a device on one day, thinned as `stage` says."""
    key = {"device": device, "since": day * DAY_MS, "until": (day + 1) * DAY_MS, "day": day}
    database.execute("DELETE FROM reading WHERE device = :device AND taken_at >= :since AND taken_at < :until", key)
    database.execute("DELETE FROM reading_day WHERE device = :device AND day = :day", key)
    words = Words(database)
    # The device's own layout, which only grows: a device that reports now this and now that makes no new one each day.
    (own,) = database.execute(
        "SELECT names FROM device LEFT JOIN layout ON layout.key = device.layout WHERE device.key = ?", [device]
    ).fetchone()
    names = sorted({*json.loads(own or "[]"), *(name for one in readings for name in one.measured)})
    layout = words.layout_key(names) if names else None
    if len(readings) > FEW:
        database.execute(
            "INSERT INTO reading_day (device, day, stage, layout, packed) VALUES (?, ?, ?, ?, ?)",
            [device, day, stage, layout, pack(readings, names)],
        )
        return
    for one in readings:
        numbers = packed(one.measured, names)[1] if one.measured else None
        database.execute(
            "INSERT INTO reading (device, taken_at, run, is_read, reason, layout, measured)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                device,
                one.taken_at_ms,
                one.run,
                int(one.is_read),
                words.key_or_none(one.reason),
                layout if one.measured else None,
                numbers,
            ],
        )


def join_days(database: Database, former: int, key: int) -> None:
    """Give the packed readings of one row to another, which may have some of the same days."""
    days = database.execute("SELECT day, stage FROM reading_day WHERE device = ?", [former]).fetchall()
    for day, stage in days:
        both = [*readings_of_day(database, key, day), *readings_of_day(database, former, day)]
        keep_day(database, key, day, stage, list(_without_doubles(sorted(both, key=_order))))
    database.execute("DELETE FROM reading_day WHERE device = ?", [former])


def damaged_days(database: Database) -> Iterator[str]:
    """Yield, in words, which packed days cannot be unpacked."""
    for row in database.query(
        "SELECT reading_day.key, packed, names FROM reading_day LEFT JOIN layout ON layout.key = layout"
    ):
        try:
            unpack(row["packed"], json.loads(row["names"] or "[]"))
        except (ValueError, TypeError, zlib.error) as error:
            yield f"row {row['key']} of reading_day cannot be unpacked ({error})"


def _newest_between(database: Database, device: int, since_ms: int, until_ms: int) -> Iterator[Taken]:
    """Yield the readings between two moments, and more of the days in which these are."""
    rows = database.query(
        "SELECT taken_at, run, is_read, word.text AS reason, names, measured FROM reading"
        " LEFT JOIN word ON word.key = reason LEFT JOIN layout ON layout.key = reading.layout"
        " WHERE device = ? AND taken_at >= ? AND taken_at < ? ORDER BY taken_at DESC, run DESC",
        [device, since_ms, until_ms],
    )
    days = database.query(
        "SELECT packed, names FROM reading_day LEFT JOIN layout ON layout.key = layout"
        " WHERE device = ? AND day BETWEEN ? AND ? ORDER BY day DESC",
        [device, since_ms // DAY_MS, until_ms // DAY_MS],
    )
    of_days = (taken for day in days for taken in reversed(unpack(day["packed"], json.loads(day["names"] or "[]"))))
    return _without_doubles(heapq.merge(map(_taken, rows), of_days, key=_order, reverse=True))


def _taken(row: Mapping[str, Any]) -> Taken:
    return Taken(
        taken_at_ms=row["taken_at"],
        run=row["run"],
        is_read=bool(row["is_read"]),
        reason=row["reason"],
        measured={} if row["measured"] is None else unpacked(json.loads(row["names"]), row["measured"]),
    )


def _order(taken: Taken) -> tuple[int, int]:
    return taken.taken_at_ms, taken.run


def _without_doubles(readings: Iterable[Taken]) -> Iterator[Taken]:
    """Yield each reading once, the first of its forms."""
    return (next(same) for _, same in groupby(readings, key=_order))
