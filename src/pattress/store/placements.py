"""Placements: which device stood at which point, from when until when. Every function works in somebody else's
transaction.

What belongs here: opening, closing and telling placements. What does not: deciding who stands where.

Time never runs backwards at one point, as in `spans`.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlite_utils import Database

from pattress.model.kept import Placement
from pattress.store.encoding import milliseconds, moment_of
from pattress.store.lineage import ensured_device_key
from pattress.store.runs import started_at_of
from pattress.store.words import Words


def keep_placements(database: Database, run: int, placed: Mapping[str, str], at: datetime) -> None:
    """Keep which device (by id) stands at which point, as one run found it.

    A point that is not among them keeps its device, unless that device is found at another one: nothing stands in
    two places.

    Raises:
        ValueError: If there is no such run, or `at` has no time zone.
    """
    started_at_of(database, run)
    at_ms = milliseconds(at)
    words = Words(database)
    found = {words.key(point): ensured_device_key(database, device) for point, device in placed.items()}
    moved = set(found.values())
    open_now: dict[int, tuple[int, int]] = {
        point: (device, since)
        for point, device, since in database.execute(
            "SELECT point, device, since FROM placement WHERE until IS NULL"
        ).fetchall()
    }
    for point, (device, since) in open_now.items():
        is_elsewhere = point not in found and device in moved
        if is_elsewhere or found.get(point, device) != device:
            _close(database, point, since, at_ms)
    for point, device in found.items():
        if open_now.get(point, (None, 0))[0] != device:
            (ended,) = database.execute("SELECT max(until) FROM placement WHERE point = ?", [point]).fetchone()
            since = at_ms if ended is None else max(at_ms, ended)
            database.execute("INSERT INTO placement VALUES (?, ?, NULL, ?)", [point, since, device])


def placements(database: Database) -> list[Placement]:
    """Return who stood where, by point and time."""
    rows = database.query(
        "SELECT word.text AS point, device.id AS device, since, until FROM placement"
        " JOIN word ON word.key = placement.point JOIN device ON device.key = placement.device"
        " ORDER BY word.text, since"
    )
    return [
        Placement(
            point=row["point"],
            device=row["device"],
            since=moment_of(row["since"]),
            until=None if row["until"] is None else moment_of(row["until"]),
        )
        for row in rows
    ]


def _close(database: Database, point: int, since: int, at_ms: int) -> None:
    row = {"point": point, "since": since, "at": at_ms}
    if at_ms <= since:  # it stood there for no time at all
        database.execute("DELETE FROM placement WHERE point = :point AND since = :since", row)
    else:
        database.execute("UPDATE placement SET until = :at WHERE point = :point AND since = :since", row)
