"""`pattress audit`."""

from pathlib import Path
from typing import TYPE_CHECKING

from pattress.cli.options import AsJson, ListenSeconds, SiteFolder, load, now, run, store_path
from pattress.cli.output import TerminalProgress, give, give_json, leave, status_of, style

if TYPE_CHECKING:
    from pattress.audit.run import Audit
    from pattress.model.site import Site


def audit(site: SiteFolder = Path(), listen: ListenSeconds = None, json: AsJson = False) -> None:
    """Discover, read and judge every device; keep the result; report what is not as intended.

    Example: pattress audit --site ~/house
    """
    loaded = load(site)
    result = run(audit_site(loaded, listen))
    show(loaded, result, as_json=json)
    leave(status_of(finding.outcome for finding in result.findings))


async def audit_site(site: "Site", listen_s: float | None = None) -> "Audit":
    """Run one audit, with progress on a terminal."""
    from pattress.audit.run import run_audit
    from pattress.store.store import Store

    progress = TerminalProgress()
    try:
        async with Store.open(store_path(site)) as store:
            return await run_audit(site, store, clock=now, listen_s=listen_s, progress=progress)
    finally:
        progress.end()


def show(site: "Site", audit: "Audit", *, as_json: bool) -> None:
    """Print an audit."""
    from pattress.report.document import audit_document
    from pattress.report.text import Heading, audit_text

    heading = Heading(
        site=audit.site,
        run=audit.run,
        started_at=audit.started_at.astimezone(),
        duration_s=(audit.ended_at - audit.started_at).total_seconds(),
        policy=audit.policy,
        policy_digest=audit.policy_digest,
        points=len(site.plan.points),
        devices=sum(device.is_announced for device in audit.merged.devices),
    )
    if as_json:
        document = audit_document(
            heading,
            ended_at=audit.ended_at,
            counts=audit.counts,
            findings=audit.findings,
            sources=audit.sources,
            conflicts=audit.merged.conflicts,
        )
        give_json(document)
    else:
        give(audit_text(heading, audit.findings, style()))
