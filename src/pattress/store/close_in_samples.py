"""What was read during the steps of close-in checks, packed as the numbers of readings are.

What belongs here: the samples of one try of a step. What does not: steps and checks (see `close_ins`), and how numbers
are packed (`packing`). Every function works inside a transaction that somebody else began and ends.

While a step goes on, its samples stand in one row for each time that some were kept; once it has a result, in as few
as possible. Those of a try that was cut short stay under a number of their own, which no result has.
"""

import json
import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

from sqlite_utils import Database

from pattress.model.closein import Sample
from pattress.store.encoding import kept_text, kept_value, milliseconds, moment_of
from pattress.store.packing import Taken, pack, unpack
from pattress.store.words import Words

# Half an hour of 14 names every half second is 50,400. A number takes 1 to 6 bytes, so that a try has 300 kB at most;
# texts, 512 characters each and ever new ones, could make it 25 MB, which only a device can that is about to be fitted.
MAX_SAMPLES_PER_TRY = 51_200
SAMPLES_PER_ROW = 4_096

TryKey = tuple[int, int, int]
"""The check's number, the step's word, and which try of it."""


def add_samples(database: Database, key: TryKey, samples: Iterable[Sample]) -> int:
    """Keep samples of a try as far as there is room; return how many that were.

    Raises:
        ValueError: If a time has no time zone, or a value is a number that cannot be kept.
    """
    (count,) = database.execute(f"SELECT ifnull(sum(count), 0) FROM close_in_samples {_OF_TRY}", key).fetchone()  # noqa: S608
    some = [_as_kept(one) for one in islice(samples, MAX_SAMPLES_PER_TRY - int(count))]
    _write(database, key, some)
    return len(some)


def settle_samples(database: Database, key: TryKey, more: Iterable[Sample]) -> None:
    """Put the samples of a try that ended, and more of them, into as few rows as possible, each sample once."""
    kept = samples_of_try(database, key)
    each = {_mark(one): one for one in [*kept, *map(_as_kept, more)]}
    database.execute(f"DELETE FROM close_in_samples {_OF_TRY}", key)  # noqa: S608
    _write(database, key, list(islice(each.values(), MAX_SAMPLES_PER_TRY)))


def move_later_samples(database: Database, key: TryKey, since_ms: int) -> bool:
    """Give the samples of a try from a moment on to the next try, where there are earlier ones; return whether so."""
    samples = samples_of_try(database, key)
    earlier = [one for one in samples if milliseconds(one.at) < since_ms]
    if not earlier:
        return False
    database.execute(f"DELETE FROM close_in_samples {_OF_TRY}", key)  # noqa: S608
    _write(database, key, earlier)
    close_in, step, number = key
    _write(database, (close_in, step, number + 1), [one for one in samples if milliseconds(one.at) >= since_ms])
    return True


def newest_number(database: Database, close_in: int, step: int) -> int:
    """Return the number of the newest try that has samples, 0 where none has."""
    (number,) = database.execute(
        "SELECT ifnull(max(number), 0) FROM close_in_samples WHERE close_in = ? AND step = ?", [close_in, step]
    ).fetchone()
    return int(number)


def samples_of_try(database: Database, key: TryKey) -> list[Sample]:
    """Return what was read in one try, by time and name."""
    rows = database.query(
        "SELECT names, numbers, others FROM close_in_samples JOIN layout ON layout.key = layout"  # noqa: S608
        f" {_OF_TRY} ORDER BY part",
        key,
    )
    return sorted((one for row in rows for one in _unpacked(row)), key=_order)


def sample_rows(database: Database) -> Iterator[tuple[int, str, int, list[Sample]]]:
    """Yield, row by row, what was read: the check's number, the step, the number of its try, and the samples."""
    rows = database.query(
        "SELECT close_in, word.text AS step, number, names, numbers, others FROM close_in_samples"
        " JOIN word ON word.key = step JOIN layout ON layout.key = layout ORDER BY close_in, word.text, number, part"
    )
    yield from ((row["close_in"], row["step"], row["number"], list(_unpacked(row))) for row in rows)


def damaged_samples(database: Database) -> Iterator[str]:
    """Yield, in words, which samples cannot be unpacked."""
    for row in database.query(
        "SELECT close_in_samples.key AS key, count, names, numbers, others FROM close_in_samples"
        " LEFT JOIN layout ON layout.key = layout"
    ):
        try:
            count = sum(1 for _ in _unpacked(row))
        except (ValueError, TypeError, zlib.error) as error:
            yield f"row {row['key']} of close_in_samples cannot be unpacked ({error})"
        else:
            if count != row["count"]:
                yield f"row {row['key']} of close_in_samples holds {count} samples and says {row['count']}"


def _write(database: Database, key: TryKey, samples: Sequence[Sample]) -> None:
    words = Words(database)
    (first,) = database.execute(f"SELECT ifnull(max(part) + 1, 0) FROM close_in_samples {_OF_TRY}", key).fetchone()  # noqa: S608
    for part, start in enumerate(range(0, len(samples), SAMPLES_PER_ROW), start=first):
        some = samples[start : start + SAMPLES_PER_ROW]
        numbers = list(_by_moment([one for one in some if _is_number(one)]))
        names = sorted({name for taken in numbers for name in taken.measured})
        others = [[milliseconds(one.at), one.name, one.value] for one in some if not _is_number(one)]
        database.execute(
            "INSERT INTO close_in_samples (close_in, step, number, part, count, layout, numbers, others)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [*key, part, len(some), words.layout_key(names), pack(numbers, names), _compressed(others)],
        )


def _by_moment(samples: Iterable[Sample]) -> Iterator[Taken]:
    """Yield numbers as readings of one moment each; what one moment has two values of is two readings."""
    moment, measured = 0, dict[str, int | float]()
    for one in sorted(samples, key=_order):
        at_ms = milliseconds(one.at)
        if measured and (at_ms != moment or one.name in measured):
            yield _taken(moment, measured)
            measured = {}
        moment = at_ms
        measured[one.name] = one.value  # type: ignore[assignment] # `_is_number` chose them
    if measured:
        yield _taken(moment, measured)


def _taken(at_ms: int, measured: dict[str, int | float]) -> Taken:
    return Taken(taken_at_ms=at_ms, run=0, is_read=True, reason=None, measured=measured)


def _unpacked(row: dict[str, Any]) -> Iterator[Sample]:
    for taken in unpack(row["numbers"], json.loads(row["names"])):
        at = moment_of(taken.taken_at_ms)
        yield from (Sample(at=at, name=name, value=value) for name, value in taken.measured.items())
    for at_ms, name, value in json.loads(zlib.decompress(row["others"])):
        yield Sample(at=moment_of(at_ms), name=name, value=value)


def _as_kept(one: Sample) -> Sample:
    _, column = kept_value(one.value)
    value = one.value if isinstance(one.value, bool) else column
    return Sample(at=moment_of(milliseconds(one.at)), name=kept_text(one.name), value=value)


def _is_number(one: Sample) -> bool:
    return isinstance(one.value, (int, float)) and not isinstance(one.value, bool)


def _mark(one: Sample) -> tuple[object, ...]:
    return one.at, one.name, type(one.value), one.value


def _order(one: Sample) -> tuple[object, ...]:
    return one.at, one.name


def _compressed(rows: Sequence[Sequence[object]]) -> bytes:
    return zlib.compress(json.dumps(rows, allow_nan=False, separators=(",", ":")).encode(), 9)


_OF_TRY = "WHERE close_in = ? AND step = ? AND number = ?"
