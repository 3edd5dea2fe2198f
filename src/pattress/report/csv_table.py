"""The audit as a table for spreadsheets: RFC 4180, UTF-8 without a mark, one row for each finding, a header first.

Text that a spreadsheet would take for a formula gets an apostrophe in front, which spreadsheets take as a mark of text.
Numbers stay numbers, the negative ones too. Nothing holds a line break: control characters are made visible.
"""

import csv
import io
from collections.abc import Sequence

from pattress.model.finding import Finding
from pattress.model.vocabulary import Value
from pattress.report.document import time_text
from pattress.report.text import Heading
from pattress.report.visible import visible

COLUMNS = (
    "site",
    "run",
    "started_at",
    "outcome",
    "severity",
    "rule",
    "room",
    "point",
    "device",
    "device_title",
    "kind",
    "setting",
    "value",
    "found",
    "expected",
    "reason",
    "since",
    "waived_until",
    "waived_by",
    "waived_because",
    "sentence",
)
# As ASCII and as the full-width forms that East Asian spreadsheets accept. Tab and return, which some programs skip
# before a formula, cannot stand first: they are made visible.
_FORMULA_SIGNS = frozenset("=+-@＝＋－＠")


def audit_csv(heading: Heading, findings: Sequence[Finding]) -> str:
    """Return the findings of an audit as CSV, with the line ends of RFC 4180."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([_cell(value) for value in _row(heading, finding)] for finding in findings)
    return file.getvalue()


def _row(heading: Heading, finding: Finding) -> tuple[Value | None, ...]:
    subject, rule, waiver = finding.subject, finding.rule, finding.waiver
    return (
        heading.site,
        heading.run,
        time_text(heading.started_at),
        finding.outcome,
        rule.severity,
        rule.id,
        subject.room,
        subject.point,
        subject.device,
        subject.device_title,
        subject.kind,
        finding.setting,
        finding.value,
        finding.found,
        finding.expected,
        finding.reason,
        None if finding.since is None else time_text(finding.since),
        None if waiver is None else waiver.until.isoformat(),
        None if waiver is None else waiver.who,
        None if waiver is None else waiver.reason,
        finding.sentence,
    )


def _cell(value: Value | None) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return value
    text = visible(value)
    return f"'{text}" if text.lstrip()[:1] in _FORMULA_SIGNS and text.strip() else text
