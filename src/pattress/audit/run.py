"""One audit, from an open site and store to findings that are kept.

What belongs here: the steps of a nightly audit. What does not: showing it.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from pattress.audit.kept import kept_sightings
from pattress.audit.session import Clock, Progress, open_session, planned_sightings
from pattress.identity import Merged
from pattress.model.device import Device
from pattress.model.finding import OUTCOMES, Finding, Outcome
from pattress.model.reading import Reading
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.waive import waive
from pattress.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """The result of one audit. `run` is its number in the store."""

    run: int
    site: str
    policy: str
    policy_digest: str
    started_at: datetime
    ended_at: datetime
    findings: tuple[Finding, ...]
    merged: Merged
    readings: Mapping[str, Reading]
    sources: tuple[SourceReport, ...]

    @property
    def counts(self) -> dict[Outcome, int]:
        """How many findings have each outcome; every outcome is there."""
        counted = Counter(finding.outcome for finding in self.findings)
        return {outcome: counted[outcome] for outcome in OUTCOMES}


async def run_audit(
    site: Site, store: Store, *, clock: Clock, listen_s: float | None = None, progress: Progress | None = None
) -> Audit:
    """Discover, read, judge and keep; return the result.

    Raises:
        StoreError: If what was gathered cannot be kept.
    """
    started_at = clock()
    policy = CompiledPolicy(site.policy, site.networks)
    run = await store.begin_run(started_at, site.policy.digest)
    async with open_session(site, clock, progress) as session:
        for sighting in [*kept_sightings(await store.known_devices()), *planned_sightings(site.plan, started_at)]:
            session.add(sighting)
        gathered = await session.gather(site.limits.listen_s if listen_s is None else listen_s)
    evidence = Evidence(merged=gathered.merged, readings=gathered.readings, sources=gathered.sources)
    findings = waive(
        account(site, policy, evidence), site.waivers, today=started_at.astimezone().date(), plan=site.plan
    )
    ended_at = clock()
    audit = Audit(
        run=run,
        site=site.name,
        policy=site.policy.id,
        policy_digest=site.policy.digest,
        started_at=started_at,
        ended_at=ended_at,
        findings=tuple(findings),
        merged=gathered.merged,
        readings=gathered.readings,
        sources=gathered.sources,
    )
    await _keep(store, audit)
    return audit


async def _keep(store: Store, audit: Audit) -> None:
    seen = [device for device in audit.merged.devices if _is_worth_keeping(device, audit.readings)]
    await store.keep_devices(audit.run, seen)
    await store.keep_readings(audit.run, list(audit.readings.values()))
    await store.keep_findings(audit.run, audit.findings, audit.ended_at)
    await store.end_run(audit.run, audit.ended_at, audit.counts)


def _is_worth_keeping(device: Device, readings: Mapping[str, Reading]) -> bool:
    return device.is_announced or device.id in readings
