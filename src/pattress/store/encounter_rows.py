"""Rows of encounters: one for each device, hour, kind, remote, protocol and port; once aged, one for each day.

What belongs here: rows as plain numbers, read, joined and written, and how many of them there may be. What does not:
encounters as the rest of the program knows them (see `encounters`), and which days have aged (`encounter_thinning`).
Every function works inside a transaction that somebody else began and ends.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from operator import attrgetter

from sqlite_utils import Database

from pattress.store.words import Words

HOUR_MS = 3_600_000
HOURS_PER_DAY = 24
REST = "*"
"""The remote of the row that counts what was too much for rows of its own."""

# What a device can make grow, by calling or looking up ever new places: of each kind 64 rows in an hour and 128 in a
# day, and one more for the rest of each hour. A row takes 60 bytes, and a name of its own, as in a tunnel through DNS,
# up to 510 more: for one device and kind 75 kB a day, 6.6 MB in 90 days; see `encounter_thinning` for what comes then.
MAX_ROWS_PER_HOUR = 64
MAX_ROWS_PER_DAY = 128
MAX_INTEGER = (1 << 63) - 1  # of SQLite. A count that a stranger drove that far stays there


@dataclass(frozen=True, slots=True, kw_only=True)
class EncounterRow:
    """One row, in the order of its columns. Texts are numbers of words, times milliseconds, hours those since 1970."""

    device: int
    hour: int
    kind: int
    remote: int
    protocol: int
    port: int
    is_day: bool
    first_at: int
    last_at: int
    name: int | None
    packets_out: int
    octets_out: int
    packets_in: int
    octets_in: int
    count: int
    sources: tuple[str, ...]
    remark: int | None

    @property
    def key(self) -> tuple[int, int, int, int, int, int]:
        """What there is only one row of."""
        return self.device, self.hour, self.kind, self.remote, self.protocol, self.port


def joined(row: EncounterRow, other: EncounterRow) -> EncounterRow:
    """Return two rows of one key as one: counts add up, times widen; name and remark are the newest that are known."""
    older, newer = (row, other) if row.last_at <= other.last_at else (other, row)
    return replace(
        row,
        is_day=row.is_day or other.is_day,
        first_at=min(row.first_at, other.first_at),
        last_at=newer.last_at,
        name=older.name if newer.name is None else newer.name,
        sources=tuple(sorted({*row.sources, *other.sources})),
        remark=older.remark if newer.remark is None else newer.remark,
        **{column: min(getattr(row, column) + getattr(other, column), MAX_INTEGER) for column in _COUNTS},
    )


def rest_of(row: EncounterRow, rest: int) -> EncounterRow:
    """Return a row as part of the rest, `rest` being the number of that word."""
    return replace(row, remote=rest, protocol=-1, port=-1, name=None, remark=None)


def day_of(rows: Iterable[EncounterRow], rest: int) -> list[EncounterRow]:
    """Return the rows of one device on one day as those of the day: of each kind those that came first, and the rest.

    Once more gives the same.
    """
    days: dict[tuple[int, ...], EncounterRow] = {}
    for row in rows:
        _join_into(days, replace(row, hour=row.hour // HOURS_PER_DAY * HOURS_PER_DAY, is_day=True))
    kept: dict[tuple[int, ...], EncounterRow] = {}
    sizes: dict[int, int] = {}
    for row in sorted(days.values(), key=lambda row: (row.first_at, row.key)):
        has_room = row.remote != rest and sizes.get(row.kind, 0) < MAX_ROWS_PER_HOUR
        sizes[row.kind] = sizes.get(row.kind, 0) + has_room
        _join_into(kept, row if has_room else rest_of(row, rest))
    return list(kept.values())


class EncounterRows:
    """The rows of a database, for one transaction. What is added is in the database once `write` was called."""

    def __init__(self, database: Database, words: Words) -> None:
        self._database = database
        self._words = words
        self._added: dict[tuple[int, ...], EncounterRow] = {}
        self._sizes: dict[tuple[int, int, int], dict[int, int]] = {}

    def add(self, row: EncounterRow) -> None:
        """Add to the row of the same key; where there are too many beside it, to that of the rest."""
        if row.remote != self._words.key(REST) and not self._is_known(row) and not self._takes_room(row):
            row = rest_of(row, self._words.key(REST))
        self._is_known(row)
        _join_into(self._added, row)

    def write(self) -> None:
        """Put what was added into the database."""
        write_rows(self._database, self._words, self._added.values())
        self._added.clear()

    def _is_known(self, row: EncounterRow) -> bool:
        """Whether there is a row of the same key, which then is among the added ones."""
        if row.key not in self._added and (kept := row_of(self._database, row.key)) is not None:
            self._added[row.key] = kept
        return row.key in self._added

    def _takes_room(self, row: EncounterRow) -> bool:
        """Whether there is room for one more row, which is then taken."""
        sizes = self._sizes_of_day(row)
        has_room = sizes.get(row.hour, 0) < MAX_ROWS_PER_HOUR and sum(sizes.values()) < MAX_ROWS_PER_DAY
        sizes[row.hour] = sizes.get(row.hour, 0) + has_room
        return has_room

    def _sizes_of_day(self, row: EncounterRow) -> dict[int, int]:
        """Return how many rows each hour of a row's day has beside the rest: of its device and kind."""
        day = row.hour // HOURS_PER_DAY
        key = (row.device, day, row.kind)
        if key not in self._sizes:
            self._sizes[key] = dict(
                self._database.execute(
                    "SELECT hour, count(*) FROM encounter WHERE device = ? AND hour >= ? AND hour < ? AND kind = ?"
                    " AND remote <> ? GROUP BY hour",
                    [
                        row.device,
                        day * HOURS_PER_DAY,
                        (day + 1) * HOURS_PER_DAY,
                        row.kind,
                        self._words.key(REST),
                    ],
                ).fetchall()
            )
        return self._sizes[key]


def row_of(database: Database, key: tuple[int, ...]) -> EncounterRow | None:
    """Return the row of a key, or None."""
    where = "device = ? AND hour = ? AND kind = ? AND remote = ? AND protocol = ? AND port = ?"
    return next(iter(_rows(database, where, key)), None)


def rows_between(database: Database, device: int, first_hour: int, end_hour: int) -> list[EncounterRow]:
    """Return the rows of a device from one hour until just before another."""
    return _rows(database, "device = ? AND hour >= ? AND hour < ?", (device, first_hour, end_hour))


def write_rows(database: Database, words: Words, rows: Iterable[EncounterRow]) -> None:
    """Write rows, over those that have the same keys."""
    database.conn.executemany(
        f"INSERT OR REPLACE INTO encounter VALUES ({', '.join('?' * len(_COLUMNS))})",  # noqa: S608 - only marks
        [_columns_of(row, words) for row in rows],
    )


def join_encounters(database: Database, former: int, key: int) -> None:
    """Give the rows of one device to another, which may have some of the same hours."""
    theirs = _rows(database, "device = ?", (former,))
    database.execute("DELETE FROM encounter WHERE device = ?", [former])
    both: dict[tuple[int, ...], EncounterRow] = {}
    for row in theirs:
        moved = replace(row, device=key)
        kept = row_of(database, moved.key)
        both[moved.key] = moved if kept is None else joined(kept, moved)
    write_rows(database, Words(database), both.values())


def damaged_encounters(database: Database) -> Iterator[str]:
    """Yield, in words, which encounters contradict themselves, and which sets of sources cannot be read.

    The constraints of the table are looked at here: SQLite leaves them aside in a database that is opened for reading.
    """
    (count,) = database.execute(
        "SELECT count(*) FROM encounter WHERE last_at < first_at OR last_at < hour * :hour"
        " OR last_at >= (hour + iif(is_day, :hours, 1)) * :hour OR kind NOT IN (0, 1, 2, 3)",
        {"hour": HOUR_MS, "hours": HOURS_PER_DAY},
    ).fetchone()
    if count:
        yield f"{count} rows of encounter contradict themselves"
    found = database.execute("SELECT key, names FROM layout WHERE key IN (SELECT sources FROM encounter)")
    for key, names in found.fetchall():
        try:
            is_list = all(isinstance(name, str) for name in _source_names(names))
        except (ValueError, TypeError):
            is_list = False
        if not is_list:
            yield f"row {key} of layout, which encounters name as their sources, cannot be read"


def _join_into(rows: dict[tuple[int, ...], EncounterRow], row: EncounterRow) -> None:
    known = rows.get(row.key)
    rows[row.key] = row if known is None else joined(known, row)


def _rows(database: Database, where: str, arguments: tuple[int, ...]) -> list[EncounterRow]:
    found = database.execute(
        f"SELECT encounter.*, layout.names AS names FROM encounter"  # noqa: S608 - the conditions are ours
        f" JOIN layout ON layout.key = encounter.sources WHERE {where}",
        list(arguments),
    )
    return [_row(dict(zip((*_COLUMNS, "names"), row, strict=True))) for row in found.fetchall()]


def _row(columns: Mapping[str, object]) -> EncounterRow:
    values = dict(columns)
    values |= {"sources": _source_names(str(values.pop("names"))), "is_day": bool(values["is_day"])}
    return EncounterRow(**values)  # type: ignore[arg-type] # the types are those of a STRICT table


def _columns_of(row: EncounterRow, words: Words) -> tuple[int | None, ...]:
    return tuple(words.layout_key(row.sources) if value is row.sources else value for value in _values(row))


@lru_cache(maxsize=256)  # a site has few sources, and fewer sets of them
def _source_names(names: str) -> tuple[str, ...]:
    return tuple(json.loads(names))


_COLUMNS = tuple(field.name for field in fields(EncounterRow))
_values = attrgetter(*_COLUMNS)
_COUNTS = ("packets_out", "octets_out", "packets_in", "octets_in", "count")
