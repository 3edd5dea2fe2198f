"""Close-in checks and their steps. What belongs here: keeping them and giving them back, every try of every step.

What does not: their samples (see `close_in_samples`), and running a check. Every function works inside a transaction
that somebody else began and ends.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlite_utils import Database

from pattress.model.closein import CloseIn, Sample, StepOutcome, StepResult, step_order
from pattress.model.errors import StoreError
from pattress.model.vocabulary import Value
from pattress.store.close_in_samples import (
    add_samples,
    damaged_samples,
    move_later_samples,
    newest_number,
    samples_of_try,
    settle_samples,
)
from pattress.store.encoding import kept_text, kept_value, milliseconds, moment_of
from pattress.store.lineage import ensured_device_key
from pattress.store.words import Words

OUTCOMES: tuple[StepOutcome, ...] = ("met", "broken", "unverified", "skipped")
"""In the order of their codes."""

MAX_SENTENCE_LENGTH = 4_000  # every finding of a badly set module, one after another


def begin_close_in(
    database: Database,
    point: str,
    who: str,
    began_at: datetime,
    device: str | None,
    planned: Mapping[str, Value],
) -> int:
    """Return the number of a new check of a point.

    Raises:
        StoreError: If another check of the point has not ended.
        ValueError: If the time has no time zone, or a planned value is a number that cannot be kept.
    """
    words = Words(database)
    at_point = words.key(point)
    row = database.execute("SELECT key FROM close_in WHERE point = ? AND ended_at IS NULL", [at_point]).fetchone()
    if row is not None:
        raise StoreError(
            f"close-in check {row[0]} of it has not ended",
            where=f"point {point}",
            next_step="Take that one up again, or give it up first",
        )
    key = None if device is None else ensured_device_key(database, device)
    number = database.execute(
        "INSERT INTO close_in (point, who, began_at, device, planned) VALUES (?, ?, ?, ?, ?)",
        [at_point, words.key(who), milliseconds(began_at), key, _object(planned)],
    ).lastrowid
    assert number is not None  # noqa: S101 - an INSERT that did not raise has a row
    return number


def set_device(database: Database, number: int, device: str) -> None:
    """Keep which device a check that has not ended is of."""
    _refuse_ended(database, number)
    database.execute("UPDATE close_in SET device = ? WHERE key = ?", [ensured_device_key(database, device), number])


def set_planned(database: Database, number: int, planned: Mapping[str, Value]) -> None:
    """Keep what is planned now for the point of a check that has not ended.

    Raises:
        StoreError: If there is no such check, or it has ended.
        ValueError: If a planned value is a number that cannot be kept.
    """
    _refuse_ended(database, number)
    database.execute("UPDATE close_in SET planned = ? WHERE key = ?", [_object(planned), number])


def keep_samples(database: Database, number: int, step: str, samples: Sequence[Sample]) -> int:
    """Keep samples of the try that is going on; return how many had room."""
    _refuse_ended(database, number)
    key = Words(database).key(step)
    return add_samples(database, (number, key, _number_of_next(database, number, key)), samples)


def keep_step(database: Database, number: int, result: StepResult) -> int:
    """Keep how a step ended; return the number of the try. What was read since it began belongs to it.

    Samples from before it began are those of a try that was cut short, and stay that.
    """
    _refuse_ended(database, number)
    words = Words(database)
    step = words.key(result.step)
    began_at = milliseconds(result.began_at)
    attempt = _number_of_next(database, number, step)
    attempt += move_later_samples(database, (number, step, attempt), began_at)
    settle_samples(database, (number, step, attempt), result.samples)
    database.execute(
        "INSERT INTO close_in_step VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            number,
            step,
            attempt,
            kept_text(result.title),
            OUTCOMES.index(result.outcome),
            kept_text(result.sentence, MAX_SENTENCE_LENGTH),
            began_at,
            milliseconds(result.ended_at),
            _object(result.facts),
        ],
    )
    return attempt


def end_close_in(database: Database, number: int, ended_at: datetime, is_signed_off: bool) -> None:
    """Keep that a check was signed off or given up. Nothing of it changes from then on."""
    _refuse_ended(database, number)
    database.execute(
        "UPDATE close_in SET ended_at = ?, is_signed_off = ? WHERE key = ?",
        [milliseconds(ended_at), int(is_signed_off), number],
    )


def close_in(database: Database, number: int) -> CloseIn:
    """Return a check with the newest result of each step, in the order of the steps, each with its samples.

    Raises:
        StoreError: If there is no such check.
    """
    found = _checks(database, "close_in.key = :number", {"number": number})
    if not found:
        raise _unknown(number)
    words = Words(database)
    results = tuple(
        replace(one, samples=tuple(samples_of_try(database, (number, words.key(one.step), one.number))))
        for one in found[0].results
    )
    return replace(found[0], results=results)


def close_ins(database: Database, point: str | None) -> list[CloseIn]:
    """Return every check, or those of a point, the newest last; without samples."""
    return _checks(database, "TRUE" if point is None else "place.text = :point", {"point": _as_kept(point)})


def open_close_in(database: Database, point: str) -> CloseIn | None:
    """Return the check of a point that has not ended, with its samples; None where there is none."""
    found = _checks(database, "place.text = :point AND ended_at IS NULL", {"point": _as_kept(point)})
    return close_in(database, found[0].id) if found else None


def tries_of(database: Database, number: int, step: str | None) -> list[StepResult]:
    """Return every result of a check, or of one of its steps, in the order of the steps and tries; without samples."""
    rows = database.query(
        "SELECT word.text AS step, number, title, outcome, sentence, began_at, ended_at, facts FROM close_in_step"
        " JOIN word ON word.key = step"
        " WHERE close_in = :number AND (:step IS NULL OR word.text = :step) ORDER BY number",
        {"number": number, "step": _as_kept(step)},
    )
    return sorted(map(_result, rows), key=lambda one: (step_order(one.step), one.number))


def samples_of(database: Database, number: int, step: str, attempt: int | None) -> list[Sample]:
    """Return what was read in one try of a step; without its number in the newest, whether it has ended or not."""
    key = Words(database).key_if_known(step)
    if key is None:
        return []
    wanted = newest_number(database, number, key) if attempt is None else attempt
    return samples_of_try(database, (number, key, wanted))


def damaged_close_ins(database: Database) -> Iterator[str]:
    """Yield, in words, which checks contradict themselves, and what of them cannot be read.

    The constraints of the tables are looked at here: SQLite leaves them aside in a database opened for reading.
    """
    (count,) = database.execute(
        "SELECT count(*) FROM close_in WHERE is_signed_off NOT IN (0, 1) OR (ended_at IS NULL AND is_signed_off)"
    ).fetchone()
    if count:
        yield f"{count} rows of close_in contradict themselves"
    for row in database.query("SELECT key, planned FROM close_in"):
        if not _is_object(row["planned"]):
            yield f"what was planned for check {row['key']} cannot be read"
    for row in database.query("SELECT close_in, number, outcome, facts FROM close_in_step"):
        if not (_is_object(row["facts"]) and 0 <= row["outcome"] < len(OUTCOMES)):
            yield f"a row of close_in_step, of check {row['close_in']}, cannot be read"
    yield from damaged_samples(database)


def _number_of_next(database: Database, number: int, step: int) -> int:
    """Return the number of the try that has no result yet."""
    (newest,) = database.execute(
        "SELECT ifnull(max(number), 0) FROM close_in_step WHERE close_in = ? AND step = ?", [number, step]
    ).fetchone()
    return max(int(newest) + 1, newest_number(database, number, step))


def _refuse_ended(database: Database, number: int) -> None:
    row = database.execute("SELECT ended_at FROM close_in WHERE key = ?", [number]).fetchone()
    if row is None:
        raise _unknown(number)
    if row[0] is not None:
        raise StoreError(
            "it has ended, and what was kept of it does not change",
            where=f"close-in check {number}",
            next_step="Begin a new check of the point",
        )


def _unknown(number: int) -> StoreError:
    return StoreError(
        "there is no such check", where=f"close-in check {number}", next_step="Give the number of one that was begun"
    )


def _checks(database: Database, where: str, arguments: dict[str, int | str | None]) -> list[CloseIn]:
    rows = database.query(
        "SELECT close_in.key AS id, place.text AS point, person.text AS who, began_at, device.id AS device, planned,"  # noqa: S608
        " ended_at, is_signed_off FROM close_in JOIN word AS place ON place.key = point"
        " JOIN word AS person ON person.key = who"
        f" LEFT JOIN device ON device.key = close_in.device WHERE {where} ORDER BY close_in.key",
        arguments,
    )
    return [
        CloseIn(
            id=row["id"],
            point=row["point"],
            who=row["who"],
            began_at=moment_of(row["began_at"]),
            device=row["device"],
            ended_at=None if row["ended_at"] is None else moment_of(row["ended_at"]),
            is_signed_off=bool(row["is_signed_off"]),
            planned=json.loads(row["planned"]),
            results=_newest(tries_of(database, row["id"], None)),
        )
        for row in list(rows)
    ]


def _newest(tries: Sequence[StepResult]) -> tuple[StepResult, ...]:
    return tuple({one.step: one for one in tries}.values())  # a later one takes the place of an earlier


def _result(row: dict[str, Any]) -> StepResult:
    return StepResult(
        step=row["step"],
        title=row["title"],
        outcome=OUTCOMES[row["outcome"]],
        sentence=row["sentence"],
        began_at=moment_of(row["began_at"]),
        ended_at=moment_of(row["ended_at"]),
        facts=json.loads(row["facts"]),
        number=row["number"],
    )


def _is_object(text: str) -> bool:
    try:
        return isinstance(json.loads(text), dict)
    except ValueError:
        return False


def _as_kept(text: str | None) -> str | None:
    return None if text is None else kept_text(text)


def _object(values: Mapping[str, Value]) -> str:
    return json.dumps({name: _kept(one) for name, one in values.items()}, allow_nan=False, separators=(",", ":"))


def _kept(value: Value) -> Value:
    """Return a value as JSON gives it back: the same, less what no column could hold."""
    _, column = kept_value(value)
    return value if isinstance(value, bool) else column
