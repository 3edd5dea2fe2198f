"""Many readings of one device as one short piece of bytes, and back, exactly. Pure.

What belongs here: the form. What does not: which readings are packed (see `days`).

The form is JSON, compressed: one list for each thing that the readings have in common, so that like stands by like. A
number becomes a whole number of its column's smallest decimal place and is written as the difference from the one
before. Five-minute readings of ten measurements take about 1 byte a number so, against 6 in a row of their own.
"""

import json
import math
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

Number = int | float
MAX_DECIMALS = 9  # a column with a number finer than that is kept as it was written


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One reading as the database has it: whether it was read, why not (or what not), and what it measured."""

    taken_at_ms: int
    run: int
    is_read: bool
    reason: str | None
    measured: Mapping[str, Number]


def pack(readings: Sequence[Taken], names: Sequence[str]) -> bytes:
    """Return readings as bytes, less the names of their measurements; all that they measured must be among these."""
    form = [
        _steps([one.taken_at_ms for one in readings]),
        _steps([one.run for one in readings]),
        "".join("1" if one.is_read else "0" for one in readings),
        [one.reason for one in readings] if any(one.reason is not None for one in readings) else None,
        [_column([one.measured.get(name) for one in readings]) for name in names],
    ]
    return zlib.compress(json.dumps(form, allow_nan=False, separators=(",", ":")).encode(), 9)


def unpack(packed: bytes, names: Sequence[str]) -> list[Taken]:
    """Return the readings that `pack` wrote with these names."""
    times, runs, outcomes, reasons, columns = json.loads(zlib.decompress(packed))
    values = [_numbers(column) for column in columns]
    return [
        Taken(
            taken_at_ms=taken_at_ms,
            run=run,
            is_read=outcomes[index] == "1",
            reason=None if reasons is None else reasons[index],
            measured={
                name: value for name, column in zip(names, values, strict=True) if (value := column[index]) is not None
            },
        )
        for index, (taken_at_ms, run) in enumerate(zip(_sums(times), _sums(runs), strict=True))
    ]


def _steps(numbers: Sequence[int]) -> list[int]:
    """Return the first number, the usual step, and how much each step differs from it."""
    differences = [later - earlier for earlier, later in pairwise(numbers)]
    usual = sorted(differences)[len(differences) // 2] if differences else 0
    return [*numbers[:1], usual, *(difference - usual for difference in differences)]


def _sums(steps: Sequence[int]) -> list[int]:
    if len(steps) < 2:
        return []
    first, usual, *rest = steps
    return list(accumulate((usual + difference for difference in rest), initial=first))


def _column(numbers: Sequence[Number | None]) -> list[Any]:
    """Return [decimal places, which are whole by type, differences], or [None, the numbers as they are]."""
    measured = [number for number in numbers if number is not None]
    decimals = _decimals(measured)
    if decimals is None:
        return [None, list(numbers)]
    whole = [None if number is None else _scaled(number, decimals) for number in numbers]
    kinds = {type(number) for number in measured}
    marks = "".join("-" if one is None else "i" if isinstance(one, int) else "f" for one in numbers)
    mark = marks if len(kinds) > 1 else "i" if kinds == {int} else "f"
    return [decimals, mark, _differences(whole)]


def _numbers(column: Sequence[Any]) -> Sequence[Number | None]:
    if column[0] is None:
        return column[1]  # type: ignore[no-any-return]
    decimals, mark, differences = column
    scale = 10**decimals
    marks = mark * len(differences) if len(mark) == 1 else mark
    whole = _undone(differences)
    return [
        None if number is None else number // scale if kind == "i" else number / scale
        for number, kind in zip(whole, marks, strict=True)
    ]


def _decimals(numbers: Iterable[Number]) -> int | None:
    """Return how many decimal places show every number exactly; None where too many would be needed."""
    places = 0
    for number in numbers:
        if isinstance(number, int):
            continue
        written = repr(number)
        if "e" in written:
            return None
        places = max(places, len(written.partition(".")[2]))
    if places > MAX_DECIMALS:
        return None
    scale = 10**places
    for number in numbers:
        is_same = isinstance(number, int) or (
            _scaled(number, places) / scale == number and (number != 0 or math.copysign(1, number) > 0)
        )
        if not is_same:
            return None
    return places


def _scaled(number: Number, decimals: int) -> int:
    scale: int = 10**decimals
    return number * scale if isinstance(number, int) else round(number * scale)


def _differences(numbers: Iterable[int | None]) -> list[int | None]:
    before, differences = 0, list[int | None]()
    for number in numbers:
        differences.append(None if number is None else number - before)
        before = before if number is None else number
    return differences


def _undone(differences: Iterable[int | None]) -> list[int | None]:
    before, numbers = 0, list[int | None]()
    for difference in differences:
        before += difference or 0
        numbers.append(None if difference is None else before)
    return numbers
