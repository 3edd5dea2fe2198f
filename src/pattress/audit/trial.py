"""A policy tried on what the store knows: no device is asked, nothing is kept.

What belongs here: the last known settings as readings, and judging them. What does not: what an audit finds beside the
policy, which needs the network.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pattress.audit.kept import known_devices
from pattress.model.finding import OUTCOMES, Finding, Outcome, Subject
from pattress.model.kept import KnownDevice
from pattress.model.reading import Reading, Reported, Snapshot, Unreadable
from pattress.model.rules import Policy
from pattress.model.site import Site
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.evaluate import evaluate, unverified
from pattress.policy.waive import waive
from pattress.store.store import Store

NEWEST = 100  # readings of a device that are looked at for the last that could be read: three months of nights


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a policy finds in the last known settings. `read_at` says of each point when they were read."""

    policy: Policy
    findings: tuple[Finding, ...]
    read_at: Mapping[str, datetime | None]

    @property
    def counts(self) -> dict[Outcome, int]:
        """How many findings have each outcome; every outcome is there."""
        return {outcome: sum(one.outcome == outcome for one in self.findings) for outcome in OUTCOMES}


async def try_policy(site: Site, policy: Policy, store_file: Path, *, now: datetime) -> Trial:
    """Return what a policy would find at every point of the plan, by the readings that were kept.

    Raises:
        UsageError: If there is no database yet.
    """
    at_point = {one.point: one.device for one in await known_devices(site, store_file) if one.point is not None}
    compiled = CompiledPolicy(policy, site.networks)
    findings: list[Finding] = []
    read_at: dict[str, datetime | None] = {}
    async with Store.open(store_file, read_only=True) as store:
        for point in site.plan.points:
            device = at_point.get(point.name)
            kind = device.kind if device is not None and device.kind is not None else point.kind
            subject = Subject(
                device=device.id if device is not None else None,
                device_title=device.name if device is not None else None,
                point=point.name,
                room=point.room,
                kind=kind,
            )
            profile = site.profile(kind)
            checks = compiled.checks(profile, point) if profile is not None else ()
            read_at[point.name] = device.last_read if device is not None else None
            if device is None:
                findings += unverified(checks, subject, "nothing of it is kept")
            else:
                findings += evaluate(checks, subject, await _last_known(store, device, kind, now))
    today = now.astimezone().date()
    waived = waive(findings, site.waivers, today=today, plan=site.plan)
    # Whether a waiver is still needed is asked of the policy in force, not of one that is tried.
    ids = {rule.id for rule in policy.rules}
    return Trial(
        policy=policy, findings=tuple(finding for finding in waived if finding.rule.id in ids), read_at=read_at
    )


async def _last_known(store: Store, device: KnownDevice, kind: str, now: datetime) -> Reading:
    """The settings that hold as far as is known, and the numbers of the last reading that could be read."""
    kept = next((one for one in await store.readings_of(device.id, NEWEST) if one.outcome == "read"), None)
    spans = [span for span in await store.history(device.id) if span.until is None]
    if device.last_read is None or not spans:
        return Unreadable(device=device.id, kind=kind, taken_at=now, reason="it was never read")
    settings = {span.setting: Reported(value=span.value, origin=f"kept since {_short(span.since)}") for span in spans}
    measured = (
        {}
        if kept is None
        else {
            name: Reported(value=value, origin=f"measured {_short(kept.taken_at)}")
            for name, value in kept.measurements.items()
        }
    )
    return Snapshot(
        device=device.id,
        kind=kind,
        taken_at=device.last_read,
        duration_s=0.0,
        values={**settings, **measured},
        is_live=False,
    )


def _short(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"
