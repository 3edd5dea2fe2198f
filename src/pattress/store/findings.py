"""Spans of findings: what was not `met`, from when until when.

Every function works inside a transaction that somebody else began and ends.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from operator import itemgetter

from sqlite_utils import Database

from pattress.model.finding import Finding
from pattress.model.kept import KeptFinding
from pattress.store.encoding import SqlValue, kept_text, milliseconds, moment_of
from pattress.store.lineage import ensured_device_key
from pattress.store.runs import started_at_of
from pattress.store.words import Words

Row = dict[str, SqlValue | None]
_identity = itemgetter("device", "point", "rule", "setting", "expected")  # the same question about the same thing
_verdict = itemgetter("outcome", "severity")  # a change of these is a new finding; what was found may vary within one


def keep_findings(database: Database, run: int, findings: Sequence[Finding], at: datetime) -> None:
    """Keep all findings of one run: what is new is opened, what goes on stays, what is no longer so is closed.

    `findings` must be the run's findings on the whole site: what is not among them, or is `met`, is over.

    Raises:
        ValueError: If there is no such run, or `at` has no time zone.
    """
    started_at_of(database, run)
    at_ms = milliseconds(at)
    now = {_identity(row): row for row in _rows(database, findings)}
    for old in list(database.query("SELECT * FROM finding WHERE closed_at IS NULL")):
        new = now.get(_identity(old))
        if new is None or _verdict(new) != _verdict(old):
            database.execute(
                "UPDATE finding SET closed_at = max(opened_at, ?), closed_run = ? WHERE key = ?",
                [at_ms, run, old["key"]],
            )
            continue
        del now[_identity(old)]
        if (new["found"], new["reason"]) != (old["found"], old["reason"]):
            database.execute(
                "UPDATE finding SET found = ?, reason = ? WHERE key = ?", [new["found"], new["reason"], old["key"]]
            )
    # Past the library: its insert takes 30 us a row, and the first audit of a large site has many.
    database.conn.executemany(
        "INSERT INTO finding (device, point, rule, setting, expected, outcome, severity, found, reason, opened_at,"
        " opened_run) VALUES (:device, :point, :rule, :setting, :expected, :outcome, :severity, :found, :reason,"
        " :opened_at, :opened_run)",
        [row | {"opened_at": at_ms, "opened_run": run} for row in now.values()],
    )


def open_findings(database: Database) -> list[KeptFinding]:
    """Return the findings that hold, the gravest first, then by point, device, rule and setting."""
    return _kept_findings(database, None, is_any=False)


def findings_at(database: Database, moment: datetime) -> list[KeptFinding]:
    """Return the findings that held at a moment, in the order of `open_findings`."""
    return _kept_findings(database, milliseconds(moment), is_any=False)


def all_findings(database: Database) -> list[KeptFinding]:
    """Return every finding that ever held, in the order of `open_findings`."""
    return _kept_findings(database, None, is_any=True)


def _kept_findings(database: Database, at_ms: int | None, *, is_any: bool) -> list[KeptFinding]:
    rows = database.query(
        "SELECT device.id AS device, point.text AS point, rule.text AS rule, setting.text AS setting,"
        " expected.text AS expected, outcome, severity, found, reason, opened_at, closed_at"
        " FROM finding JOIN word AS rule ON rule.key = finding.rule"
        " JOIN word AS expected ON expected.key = finding.expected"
        " LEFT JOIN device ON device.key = finding.device LEFT JOIN word AS point ON point.key = finding.point"
        " LEFT JOIN word AS setting ON setting.key = finding.setting WHERE CASE WHEN :at IS NULL"
        " THEN :any OR closed_at IS NULL ELSE opened_at <= :at AND ifnull(:at < closed_at, 1) END"
        " ORDER BY CASE severity WHEN 'danger' THEN 0 WHEN 'fault' THEN 1 ELSE 2 END,"
        " point.text, device.id, rule.text, setting.text, expected.text, opened_at",
        {"at": at_ms, "any": is_any},
    )
    return [
        KeptFinding(
            device=row["device"],
            point=row["point"],
            rule=row["rule"],
            setting=row["setting"],
            outcome=row["outcome"],
            severity=row["severity"],
            expected=row["expected"],
            found=row["found"],
            reason=row["reason"],
            opened_at=moment_of(row["opened_at"]),
            closed_at=None if row["closed_at"] is None else moment_of(row["closed_at"]),
        )
        for row in rows
    ]


def _rows(database: Database, findings: Sequence[Finding]) -> list[Row]:
    words = Words(database)
    broken = [finding for finding in findings if finding.outcome != "met"]
    ids = dict.fromkeys(finding.subject.device for finding in broken)
    devices = {device: ensured_device_key(database, device) for device in ids if device is not None}
    return [_row(devices, words, finding) for finding in broken]


def _row(devices: Mapping[str, int], words: Words, finding: Finding) -> Row:
    device, reason = finding.subject.device, finding.reason
    if reason is None and finding.waiver is not None:
        reason = f"{finding.waiver.reason} ({finding.waiver.who}, until {finding.waiver.until.isoformat()})"
    return {
        "device": None if device is None else devices[device],
        "point": words.key_or_none(finding.subject.point),
        "rule": words.key(finding.rule.id),
        "setting": words.key_or_none(finding.setting),
        "expected": words.key(finding.expected),
        "outcome": finding.outcome,
        "severity": finding.rule.severity,
        "found": None if finding.found is None else kept_text(finding.found),
        "reason": None if reason is None else kept_text(reason),
    }
