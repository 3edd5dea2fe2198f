"""One audit, from an open site and store to findings that are kept.

What belongs here: the steps of a nightly audit. What does not: showing it.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from pattress.audit.kept import kept_sightings
from pattress.audit.outlook import outlook_of
from pattress.audit.session import Clock, Progress, open_session, planned_sightings
from pattress.identity import Merged
from pattress.model.device import Device
from pattress.model.errors import StoreError
from pattress.model.finding import OUTCOMES, Finding, Outcome
from pattress.model.reading import Reading, Snapshot
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.placing import Placing
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.past import Past
from pattress.policy.waive import waive
from pattress.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """The result of one audit. `run` is its number in the store, 0 where the store could give none.

    Where the result could not be kept, `unkept` is why: it is still worth reading.
    """

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
    unkept: StoreError | None = None

    @property
    def counts(self) -> dict[Outcome, int]:
        """How many findings have each outcome; every outcome is there."""
        counted = Counter(finding.outcome for finding in self.findings)
        return {outcome: counted[outcome] for outcome in OUTCOMES}


async def run_audit(
    site: Site, store: Store, *, clock: Clock, listen_s: float | None = None, progress: Progress | None = None
) -> Audit:
    """Discover, read, judge and keep; return the result, which says so where it could not be kept.

    Raises:
        StoreError: If what earlier audits kept cannot be read.
    """
    started_at = clock()
    policy = CompiledPolicy(site.policy, site.networks)
    run, unkept = await _begun(store, started_at, site.policy.digest)
    async with open_session(site, clock, progress) as session:
        known = await store.known_devices()
        for sighting in [*kept_sightings(known), *planned_sightings(site.plan, started_at)]:
            session.add(sighting)
        gathered = await session.gather(site.limits.listen_s if listen_s is None else listen_s)
    past = Past(
        signed_off=await store.signed_off(),
        addresses={device.id: device.address for device in known if device.address is not None},
        placements={one.point: one.device for one in await store.placements() if one.until is None},
    )
    evidence = Evidence(
        merged=gathered.merged,
        readings=gathered.readings,
        sources=gathered.sources,
        past=past,
        outlook=await outlook_of(site, store, clock()),
    )
    judged = waive(account(site, policy, evidence), site.waivers, today=started_at.astimezone().date(), plan=site.plan)
    findings = [await _dated(finding, store, gathered.readings) for finding in judged]
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
    unkept = unkept or await _keep(store, site, audit)
    if unkept is None:
        return replace(audit, sources=(*audit.sources, *await _thinned(store, ended_at)))
    gap = SourceReport(source="store", state="failed", detail=f"this audit is not kept: {unkept.what}")
    return replace(audit, sources=(*audit.sources, gap), unkept=unkept)


async def _begun(store: Store, started_at: datetime, policy_digest: str) -> tuple[int, StoreError | None]:
    """Return the number of a new run, or 0 and why the store can give none: a full disk stops no audit."""
    try:
        return await store.begin_run(started_at, policy_digest), None
    except StoreError as error:
        return 0, error


async def _dated(finding: Finding, store: Store, readings: Mapping[str, Reading]) -> Finding:
    """Return a finding about a changed setting with the moment since when it is so, as far as readings tell."""
    device, setting = finding.subject.device, finding.setting
    if finding.before is None or device is None or setting is None:
        return finding
    spans = await store.history(device, setting)
    kept = next((span.since for span in spans if span.until is None and span.value == finding.value), None)
    return finding._replace(since=kept or readings[device].taken_at)


async def _keep(store: Store, site: Site, audit: Audit) -> StoreError | None:
    """Keep the result at once, so that a killed audit leaves all of it or nothing. Return why, where it cannot be."""
    devices = audit.merged.devices
    try:
        await store.keep_audit(
            audit.run,
            devices=[device for device in devices if _is_worth_keeping(device, audit.readings)],
            readings=list(audit.readings.values()),
            placed=dict(_placed(site, audit)),
            findings=audit.findings,
            ended_at=audit.ended_at,
            counts=audit.counts,
        )
    except StoreError as error:
        return error
    return None


async def _thinned(store: Store, now: datetime) -> list[SourceReport]:
    """Let the store thin what has aged. That it could not is said beside a result that is already kept."""
    try:
        await store.thin(now)
    except StoreError as error:
        return [SourceReport(source="store", state="failed", detail=f"old readings could not be thinned: {error}")]
    return []


def _placed(site: Site, audit: Audit) -> Iterator[tuple[str, str]]:
    """Yield each point with the device that was seen or read there."""
    placing = Placing(site.plan)
    for device in audit.merged.devices:
        point = placing.point_of(device)
        if point is not None and (device.is_announced or isinstance(audit.readings.get(device.id), Snapshot)):
            yield point.name, device.id


def _is_worth_keeping(device: Device, readings: Mapping[str, Reading]) -> bool:
    return device.is_announced or device.id in readings
