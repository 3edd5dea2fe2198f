"""`pattress audit`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, ListenSeconds, SiteFolder, load, moment, now, run, store_path
from pattress.cli.output import TerminalProgress, give, give_pieces, leave, status_of, style
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from datetime import datetime

    from pattress.audit.run import Audit
    from pattress.model.finding import Outcome
    from pattress.model.kept import KeptFinding
    from pattress.model.site import Site
    from pattress.report.changes import FindingKey
    from pattress.report.formats import AuditResult

Reports = Annotated[
    list[str] | None,
    typer.Option(
        "--report",
        metavar="FORMAT=FILE",
        help="Also write a report; may be given several times. FORMAT: html, junit, csv, sarif, metrics or json. "
        "With - for FILE it goes to stdout, in place of the text.",
    ),
]
Since = Annotated[
    str | None,
    typer.Option("--since", metavar="LAST|WHEN", help="Show only what changed since the last audit, or since WHEN."),
]
AsSummary = Annotated[bool, typer.Option("--summary", help="Print one line of counts instead of the whole report.")]


def audit(
    site: SiteFolder = Path(),
    listen: ListenSeconds = None,
    json: AsJson = False,
    summary: AsSummary = False,
    since: Since = None,
    report: Reports = None,
) -> None:
    """Discover, read and judge every device; keep the result; report what is not as intended.

    Example: pattress audit --site ~/house --report html=report.html
    """
    from dataclasses import replace

    from pattress.cli.reports import STDOUT, unwritten, wanted_reports, write_reports
    from pattress.report.changes import changes
    from pattress.report.formats import written
    from pattress.report.text import changes_text

    wanted = wanted_reports(report or [])
    to_stdout = [one for one in wanted if one.target == STDOUT]
    if json + summary + len(to_stdout) > 1:
        raise UsageError(
            "only one result can go to stdout",
            where="pattress audit",
            next_step="Choose one of --json, --summary and --report FORMAT=-, and give the others a file.",
        )
    loaded = load(site)
    when = None if since is None or since.lower() == "last" else moment(since, where="pattress audit --since")
    audited, before, then = run(_audited(loaded, listen, when))
    result = result_of(loaded, audited, before)
    if since is not None:
        result = replace(result, changes=changes(audited.findings, _by_key(then)))
    failures = write_reports(result, [one for one in wanted if one.target != STDOUT])
    if to_stdout:
        give_pieces(written(result, to_stdout[0].format))
    elif summary:
        give(summary_of(result))
    elif result.changes is not None and not json:
        since_text = "the last audit" if when is None else f"{when:%Y-%m-%d %H:%M}"
        give(changes_text(result.heading, result.changes, result.findings, since_text, style()))
    else:
        show(result, as_json=json)
    if audited.unkept is not None:
        raise audited.unkept
    if failures:
        raise unwritten(failures)
    leave(status_of(finding.outcome for finding in audited.findings))


async def audit_site(site: "Site", listen_s: float | None = None) -> "Audit":
    """Run one audit, with progress on a terminal."""
    audited, _, _ = await _audited(site, listen_s)
    return audited


async def _audited(
    site: "Site", listen_s: float | None, when: "datetime | None" = None
) -> "tuple[Audit, list[KeptFinding], list[KeptFinding]]":
    """Run one audit; return it, what was not met in the audit before it, and what was not met at a moment."""
    from pattress.audit.run import run_audit
    from pattress.store.store import Store

    progress = TerminalProgress()
    try:
        async with Store.open(store_path(site), reads_at_least=True) as store:
            before = await store.open_findings()
            then = before if when is None else await store.findings_at(when)
            return await run_audit(site, store, clock=now, listen_s=listen_s, progress=progress), before, then
    finally:
        progress.end()


def result_of(site: "Site", audit: "Audit", before: "list[KeptFinding] | None" = None) -> "AuditResult":
    """Return all that a report may tell of an audit. `before` is what was not met in the audit before it."""
    from pattress.report.formats import AuditResult
    from pattress.report.openmetrics import point_states
    from pattress.report.text import Heading

    heading = Heading(
        site=audit.site,
        run=audit.run,
        started_at=audit.started_at.astimezone(),
        duration_s=(audit.ended_at - audit.started_at).total_seconds(),
        policy=audit.policy,
        policy_digest=audit.policy_digest,
        points=len(site.plan.points),
        devices=sum(device.is_announced for device in audit.merged.devices),
        overridden=site.policy.overridden,
    )
    return AuditResult(
        heading=heading,
        ended_at=audit.ended_at,
        counts=audit.counts,
        findings=audit.findings,
        sources=audit.sources,
        conflicts=audit.merged.conflicts,
        points=point_states(site.plan, audit.merged, audit.readings),
        earlier=None if before is None else _by_key(before),
    )


def _by_key(kept: "list[KeptFinding]") -> "dict[FindingKey, Outcome]":
    from pattress.report.changes import key_of_kept

    return {key_of_kept(one): one.outcome for one in kept}


def summary_of(result: "AuditResult") -> str:
    """Return an audit in one line."""
    from pattress.report.text import summary_line
    from pattress.report.visible import visible

    return f"{visible(result.heading.site)}: {result.heading.name}: {summary_line(result.findings)}"


def show(result: "AuditResult", *, as_json: bool) -> None:
    """Print an audit."""
    from pattress.report.formats import written
    from pattress.report.text import audit_text

    if as_json:
        give_pieces(written(result, "json"))
    else:
        give(audit_text(result.heading, result.findings, style()))
