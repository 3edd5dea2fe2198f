"""How times, text, values and measurements are written into columns, and back. Pure.

What belongs here: one value at a time. What does not: tables and statements.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from pattress.model.vocabulary import MAX_TEXT_LENGTH, Value, definition_of

SqlValue = int | float | str
Packed = tuple[tuple[str, ...], str]
"""Names of measurements in their order, and the numbers in the same order."""

BOOLEAN, INTEGER, NUMBER, TEXT = range(4)
"""Codes of the `type` column: SQLite itself keeps 1, 1.0 and "1" apart, but not true from 1."""


def milliseconds(moment: datetime) -> int:
    """Return a moment as whole milliseconds since 1970-01-01 UTC; what is finer is cut off.

    Raises:
        ValueError: If the moment does not say its offset from UTC.
    """
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no time zone, so that it names no moment")
    return (moment - _EPOCH) // _MILLISECOND


def moment_of(since_epoch_ms: int) -> datetime:
    """Return the moment that `milliseconds` wrote, in UTC."""
    return _EPOCH + since_epoch_ms * _MILLISECOND


def kept_text(text: str, limit: int = MAX_TEXT_LENGTH) -> str:
    """Return text as the database can hold it: lone surrogates become `?`, what is too long is cut.

    A cut text ends in its own digest, so that two long texts stay two. The same text always gives the same result.
    """
    clean = text.encode("utf-8", "replace").decode("utf-8")
    if len(clean) <= limit:
        return clean
    digest = hashlib.sha256(clean.encode()).hexdigest()[:_DIGEST_LENGTH]
    return f"{clean[: limit - _DIGEST_LENGTH - 1]}…{digest}"


def kept_value(value: Value) -> tuple[int, SqlValue]:
    """Return a setting's value as (type code, column value).

    Raises:
        ValueError: If it is not a number that SQLite can hold.
    """
    if isinstance(value, bool):
        return BOOLEAN, int(value)
    if isinstance(value, int):
        if not -(2**63) <= value < 2**63:
            raise ValueError("a whole number of more than 64 bits cannot be kept")
        return INTEGER, value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value} is not a number that can be kept")
        return NUMBER, value
    return TEXT, kept_text(value)


def value_of(type_code: int, column: SqlValue) -> Value:
    """Return the value that `kept_value` wrote."""
    return bool(column) if type_code == BOOLEAN else column


def is_numeric_measurement(name: str, value: bool | int | float) -> bool:
    """Whether a reported value goes into the row of its reading, not into a span."""
    definition = definition_of(name)
    return (
        definition is not None
        and definition.nature == "measurement"
        and definition.type in ("number", "integer")
        and not isinstance(value, bool)
    )


def packed(measured: Mapping[str, int | float], layout: Sequence[str]) -> Packed:
    """Return measurements as their names and one short text: the numbers alone, in the order of the names.

    The names of one device hardly ever change, so they are kept once, as a layout. `layout` is the device's own so
    far: it keeps its names, with null for what was not measured this time, so that a device that reports now this
    and now that makes no new layout each time; only a name that it never reported before makes one.
    """
    names = tuple(sorted({*layout, *measured}))
    numbers = [measured.get(name) for name in names]
    return names, json.dumps(numbers, allow_nan=False, separators=(",", ":"))


def unpacked(layout: Sequence[str], numbers: str) -> dict[str, int | float]:
    """Return the measurements that `packed` wrote."""
    return {name: number for name, number in zip(layout, json.loads(numbers), strict=True) if number is not None}


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)
_DIGEST_LENGTH = 32  # 128 bits: two texts that a stranger chose still do not meet
