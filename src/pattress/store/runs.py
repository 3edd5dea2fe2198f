"""Runs: one audit each. Every function works inside a transaction that somebody else began and ends."""

from collections.abc import Mapping
from datetime import datetime

from sqlite_utils import Database

from pattress.model.finding import OUTCOMES, Outcome
from pattress.model.kept import KeptRun
from pattress.store.encoding import milliseconds, moment_of
from pattress.store.words import Words


def begin_run(database: Database, started_at: datetime, policy_digest: str) -> int:
    """Return the number of a new run; a number is never used twice."""
    row = {"started_at": milliseconds(started_at), "policy": Words(database).key(policy_digest)}
    run = database.table("run").insert(row).last_rowid
    assert run is not None  # noqa: S101 - an INSERT that did not raise has a row
    return run


def end_run(database: Database, run: int, ended_at: datetime, counts: Mapping[Outcome, int]) -> None:
    """Keep that a run came to its end, and how many findings had each outcome.

    Raises:
        ValueError: If there is no such run.
    """
    started_at_of(database, run)
    database.execute("UPDATE run SET ended_at = ? WHERE key = ?", [milliseconds(ended_at), run])
    rows = [{"run": run, "outcome": outcome, "count": counts[outcome]} for outcome in OUTCOMES if outcome in counts]
    database.table("run_count").insert_all(rows, replace=True)


def started_at_of(database: Database, run: int) -> int:
    """Return when a run began, in milliseconds.

    Raises:
        ValueError: If there is no such run.
    """
    row = database.execute("SELECT started_at FROM run WHERE key = ?", [run]).fetchone()
    if row is None:
        raise ValueError(f"there is no run {run}")
    return int(row[0])


def runs(database: Database, limit: int) -> list[KeptRun]:
    """Return the newest runs, the newest first."""
    return _kept_runs(database, limit, has_ended=False)


def last_run(database: Database) -> KeptRun | None:
    """Return the newest run that came to its end, None where there is none."""
    return next(iter(_kept_runs(database, 1, has_ended=True)), None)


def _kept_runs(database: Database, limit: int, *, has_ended: bool) -> list[KeptRun]:
    rows = list(
        database.query(
            "SELECT run.*, word.text AS policy_digest FROM run JOIN word ON word.key = run.policy"
            " WHERE :any OR ended_at IS NOT NULL ORDER BY run.key DESC LIMIT :limit",
            {"any": not has_ended, "limit": limit},
        )
    )
    return [
        KeptRun(
            id=row["key"],
            started_at=moment_of(row["started_at"]),
            ended_at=None if row["ended_at"] is None else moment_of(row["ended_at"]),
            policy_digest=row["policy_digest"],
            device_count=row["device_count"],
            read_count=row["read_count"],
            unreadable_count=row["unreadable_count"],
            counts=_counts(database, row["key"]),
        )
        for row in rows
    ]


def _counts(database: Database, run: int) -> dict[Outcome, int]:
    kept = dict(database.execute("SELECT outcome, count FROM run_count WHERE run = ?", [run]).fetchall())
    return {outcome: kept[outcome] for outcome in OUTCOMES if outcome in kept}
