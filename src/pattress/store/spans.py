"""Spans: which value a setting had, from when until when. Every function works inside somebody else's transaction.

What belongs here: opening, closing and telling spans. What does not: which values go into spans (see `readings`).

Time never runs backwards within one device: `at_ms` is at least that of the device's reading before, so that spans
neither overlap nor end before they begin, whatever the host's clock does. Of two readings at one moment the later
one counts.
"""

from collections.abc import Callable, Mapping
from datetime import datetime

from sqlite_utils import Database

from pattress.model.kept import PointSpan, Span
from pattress.model.vocabulary import Value
from pattress.store.encoding import SqlValue, kept_text, kept_value, milliseconds, moment_of, value_of
from pattress.store.lineage import device_key
from pattress.store.words import Words

Open = tuple[int, int, SqlValue]
"""When a span began, and its value's type code and column."""


def keep_spans(
    database: Database,
    words: Words,
    device: int,
    values: Mapping[str, Value],
    at_ms: int,
    may_close: Callable[[str], bool],
) -> None:
    """Open a span for each value that is new, and close those of settings that are no longer reported.

    `may_close` says whether the absence of a setting means that the device has stopped reporting it; where it was
    not read for another cause, its span stays open.
    """
    open_spans = _open_spans(database, device)
    opened = []
    for setting, value in values.items():
        new = kept_value(value)
        old = open_spans.get(setting)
        if old is not None and old[1:] == new:
            continue
        if old is not None:
            _close(database, device, words.key(setting), old[0], at_ms)
        opened.append((device, words.key(setting), at_ms, *new))
    # Past the library: its insert takes 90 us a row, and the first reading of a house is nothing but new spans.
    database.conn.executemany(
        "INSERT INTO span (device, setting, since, until, type, value) VALUES (?, ?, ?, NULL, ?, ?)", opened
    )
    for setting, (since, _, _) in open_spans.items():
        if setting not in values and may_close(setting):
            _close(database, device, words.key(setting), since, at_ms)


def history(database: Database, device_id: str, setting: str | None, at: datetime | None = None) -> list[Span]:
    """Return the spans of a device by setting and time, of one setting or of all, and those that held `at` a moment
    or all. None for an unknown device.
    """
    rows = database.query(
        "SELECT word.text AS setting, type, value, since, until FROM span JOIN word ON word.key = span.setting"
        " WHERE device = :device AND (:setting IS NULL OR word.text = :setting)"
        " AND (:at IS NULL OR (since <= :at AND ifnull(:at < until, 1))) ORDER BY word.text, since",
        {"device": device_key(database, device_id)} | _asked(setting, at),
    )
    return [
        Span(
            setting=row["setting"],
            value=value_of(row["type"], row["value"]),
            since=moment_of(row["since"]),
            until=None if row["until"] is None else moment_of(row["until"]),
        )
        for row in rows
    ]


def history_of_point(
    database: Database, point: str, setting: str | None, at: datetime | None = None
) -> list[PointSpan]:
    """Return the spans of every device, each while it stood at a point; none for a point where nothing ever stood.

    A span that began before the device stood there, or went on after, is cut to its time there.
    """
    rows = database.query(
        "WITH stood AS ("
        " SELECT device.id AS device, word.text AS setting, type, value, max(span.since, placement.since) AS since,"
        " min(ifnull(span.until, placement.until), ifnull(placement.until, span.until)) AS until"
        " FROM placement JOIN word AS point ON point.key = placement.point"
        " JOIN device ON device.key = placement.device JOIN span ON span.device = placement.device"
        " AND ifnull(span.until > placement.since, 1) AND ifnull(span.since < placement.until, 1)"
        " JOIN word ON word.key = span.setting"
        " WHERE point.text = :point AND (:setting IS NULL OR word.text = :setting))"
        " SELECT * FROM stood WHERE :at IS NULL OR (since <= :at AND ifnull(:at < until, 1)) ORDER BY setting, since",
        {"point": kept_text(point)} | _asked(setting, at),
    )
    return [
        PointSpan(
            device=row["device"],
            setting=row["setting"],
            value=value_of(row["type"], row["value"]),
            since=moment_of(row["since"]),
            until=None if row["until"] is None else moment_of(row["until"]),
        )
        for row in rows
    ]


def _asked(setting: str | None, at: datetime | None) -> dict[str, int | str | None]:
    return {
        "setting": None if setting is None else kept_text(setting),
        "at": None if at is None else milliseconds(at),
    }


def _open_spans(database: Database, device: int) -> dict[str, Open]:
    # The index is named: SQLite would look through every span of the device, of which states make thousands.
    rows = database.execute(
        "SELECT word.text, since, type, value FROM span INDEXED BY span_open JOIN word ON word.key = span.setting"
        " WHERE device = ? AND until IS NULL",
        [device],
    ).fetchall()
    return {setting: (since, type_code, value) for setting, since, type_code, value in rows}


def _close(database: Database, device: int, setting: int, since: int, at_ms: int) -> None:
    key = {"device": device, "setting": setting, "since": since, "at": at_ms}
    if since == at_ms:  # it held for no time at all
        database.execute("DELETE FROM span WHERE device = :device AND setting = :setting AND since = :since", key)
    else:
        database.execute(
            "UPDATE span SET until = :at WHERE device = :device AND setting = :setting AND since = :since", key
        )
