"""The formats that an audit can be written in, by the names that the command line uses."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Literal, assert_never, get_args

from pattress.model.device import Conflict
from pattress.model.finding import Finding, Outcome
from pattress.model.source import SourceReport
from pattress.report.changes import Changes, FindingKey
from pattress.report.csv_table import audit_csv
from pattress.report.document import audit_document
from pattress.report.html import audit_html
from pattress.report.junit import audit_junit
from pattress.report.openmetrics import PointState, audit_openmetrics
from pattress.report.sarif import audit_sarif
from pattress.report.text import Heading

Format = Literal["html", "junit", "csv", "sarif", "metrics", "json"]
PARTS_AT_ONCE = 4096  # words and punctuation: some 64 kB
FORMATS: tuple[Format, ...] = get_args(Format)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditResult:
    """All that a report of an audit may tell. `earlier` is what was not met in the run before, None if not known.

    `changes` is what has changed since an earlier moment, where that was asked for.
    """

    heading: Heading
    ended_at: datetime
    counts: Mapping[Outcome, int]
    findings: Sequence[Finding]
    sources: Sequence[SourceReport]
    conflicts: Sequence[Conflict]
    points: Sequence[PointState] = ()
    earlier: Mapping[FindingKey, Outcome] | None = None
    changes: Changes | None = None


def written(result: AuditResult, format: Format) -> Iterable[str]:
    """Return the report of an audit in a format, in pieces, with the line ends that belong to it.

    JSON, which holds every finding in full, is made piece by piece as it is asked for.
    """
    return _json(result) if format == "json" else (_text(result, format),)


def _json(result: AuditResult) -> Iterator[str]:
    document = audit_document(
        result.heading,
        ended_at=result.ended_at,
        counts=result.counts,
        findings=result.findings,
        sources=result.sources,
        conflicts=result.conflicts,
        changes=result.changes,
    )
    parts = json.JSONEncoder(indent=2).iterencode(document)
    while piece := "".join(islice(parts, PARTS_AT_ONCE)):
        yield piece
    yield "\n"


def _text(result: AuditResult, format: Literal["html", "junit", "csv", "sarif", "metrics"]) -> str:
    heading, findings = result.heading, result.findings
    match format:
        case "html":
            return audit_html(heading, findings, sources=result.sources, conflicts=result.conflicts)
        case "junit":
            return audit_junit(heading, findings)
        case "csv":
            return audit_csv(heading, findings)
        case "sarif":
            return audit_sarif(heading, findings, ended_at=result.ended_at, earlier=result.earlier)
        case "metrics":
            return audit_openmetrics(
                heading, findings, ended_at=result.ended_at, sources=result.sources, points=result.points
            )
        case _:
            assert_never(format)
