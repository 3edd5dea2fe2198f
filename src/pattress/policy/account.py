"""The account of a whole audit: every point, every device and every source, each with its findings.

What belongs here: joining devices, readings and the plan, and the built-in rules. What does not: the comparisons.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from pattress.identity import Merged
from pattress.model.addresses import is_inside, parse_address
from pattress.model.device import LIVE_SOURCES, Conflict, Device
from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.plan import Point
from pattress.model.reading import Reading, Snapshot
from pattress.model.rules import Rule
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.placing import Placing
from pattress.policy.builtin import (
    ADDRESS_KEPT,
    AS_SIGNED_OFF,
    DEVICE_ANSWERS,
    DEVICE_INSIDE,
    DEVICE_PLANNED,
    DEVICE_PRESENT,
    IDENTITY_UNIQUE,
    MAC_TRUE,
    MODULE_AS_PLANNED,
    MODULE_KEPT,
    POINT_BOUND,
    SOURCE_HEARD,
)
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.drift import also_broken, drift
from pattress.policy.evaluate import evaluate, unverified
from pattress.policy.fit_plan import hazard_findings
from pattress.policy.fitness import fitness_of
from pattress.policy.outside import Outlook, device_findings, source_findings
from pattress.policy.past import Past

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What an audit gathered. `readings` are by device id; `outlook` is None where nothing watches the way outside."""

    merged: Merged
    readings: Mapping[str, Reading]
    sources: Sequence[SourceReport]
    past: Past = field(default_factory=Past)
    outlook: Outlook | None = None


def account(site: Site, policy: CompiledPolicy, evidence: Evidence) -> list[Finding]:
    """Return every finding of an audit, before waivers, in the order: points of the plan, other devices, sources."""
    findings: list[Finding] = []
    placing = Placing(site.plan)
    devices = placing.at_points(evidence.merged.devices)
    conflicts = placing.at_points(evidence.merged.conflicts)
    for point in site.plan.points:
        at_point = devices.get(point.name), conflicts.get(point.name)
        findings.extend(_at_point(site, policy, evidence, point, *at_point))
        findings.extend(_fitness(site, evidence, point, devices.get(point.name)))
    for device in evidence.merged.devices:
        findings.extend(_beside_the_plan(site, placing, device))
        findings.extend(_unplanned_outside(evidence, placing, device))
    for conflict in evidence.merged.conflicts:
        if placing.point_of(conflict) is None:
            subject = Subject(device=conflict.identity, device_title=conflict.identity)
            findings.append(_contested(subject, conflict))
    findings.extend(_sources(evidence.sources))
    if evidence.outlook is not None:
        findings.extend(_unknown_outside(evidence.outlook, evidence.merged.devices))
        findings.extend(source_findings(evidence.outlook))
    return findings


def _fitness(site: Site, evidence: Evidence, point: Point, device: Device | None) -> Iterator[Finding]:
    """Yield whether the planned kind suits what it is planned to be wired into, and stays off where it must."""
    subject, profile = subject_of(point, device), site.profile(point.kind)
    yield from fitness_of(site, point, subject=subject)
    if profile is not None:
        reading = evidence.readings.get(device.id) if device is not None else None
        yield from hazard_findings(point, profile, subject, reading)


def _unplanned_outside(evidence: Evidence, placing: Placing, device: Device) -> Iterator[Finding]:
    """Yield what a device at no point had to do with the outside."""
    if evidence.outlook is not None and placing.point_of(device) is None:
        reading = evidence.readings.get(device.id)
        yield from device_findings(
            evidence.outlook, subject_of(None, device), known_ids(device), reading, is_planned=False
        )


def _unknown_outside(outlook: Outlook, devices: Sequence[Device]) -> Iterator[Finding]:
    """Yield what was outside and is no device that this audit has: an address of nobody, a device that is gone."""
    known = {identity for device in devices for identity in known_ids(device)}
    for device in sorted({one.device for one in outlook.encounters} - known):
        title = f"an unknown device at {device.removeprefix('address:')}" if device.startswith("address:") else device
        subject = Subject(device=device, device_title=title)
        yield from device_findings(outlook, subject, (device,), None, is_planned=False)


def _at_point(
    site: Site,
    policy: CompiledPolicy,
    evidence: Evidence,
    point: Point,
    device: Device | None,
    conflict: Conflict | None,
) -> Iterator[Finding]:
    subject = subject_of(point, device)
    kind = device.kind if device is not None and device.kind is not None else point.kind
    profile = site.profile(kind)
    checks = policy.checks(profile, point) if profile is not None else ()
    reading = evidence.readings.get(device.id) if device is not None else None
    if not point.is_bound:
        yield _finding(POINT_BOUND, subject, "unverified", "no device is bound to it in points.toml")
        yield from unverified(checks, subject, "no device is bound to the point")
        return
    if conflict is not None:
        yield _contested(subject, conflict)
        yield from unverified(checks, subject, "its identity is claimed by more than one device")
        return
    yield _present(subject, device, reading)
    if device is None or (not device.is_announced and not isinstance(reading, Snapshot)):
        yield from unverified(checks, subject, "the module is not there")
        if evidence.outlook is not None and device is not None:
            yield from device_findings(evidence.outlook, subject, known_ids(device), None)
        return
    if device.kind is not None and device.kind != point.kind:
        found = f"it is {device.kind}, not {point.kind}"
        yield _finding(MODULE_AS_PLANNED, subject, "broken", found, expected=point.kind)
    elif device.kind is not None:
        yield _finding(MODULE_AS_PLANNED, subject, "met", f"it is {device.kind}", expected=point.kind)
    if reading is None:
        yield _finding(DEVICE_ANSWERS, subject, "unverified", "it was not asked: no address of it is known")
        yield from unverified(checks, subject, "it was not asked")
    else:
        yield _answers(subject, reading)
        findings = evaluate(checks, subject, reading)
        yield from findings
        yield from _since_sign_off(evidence.past, device, point, subject, reading, findings)
    yield from _beside_the_past(evidence.past, device, point, subject)
    if evidence.outlook is not None:
        yield from device_findings(evidence.outlook, subject, known_ids(device), reading)


def _since_sign_off(
    past: Past, device: Device, point: Point, subject: Subject, reading: Reading, findings: Sequence[Finding]
) -> Iterator[Finding]:
    """Yield the drift of the device; or that the point was signed off with another one."""
    signed = _of_device(past.signed_off, device)
    if signed is None:
        if any(one.point == point.name for one in past.signed_off.values()):
            remark = "another module was signed off here; this one was not"
            yield _finding(AS_SIGNED_OFF, subject, "unverified", remark)
        return
    broken: dict[str, list[str]] = {}
    for finding in findings:
        if finding.outcome == "broken" and finding.setting is not None:
            broken.setdefault(finding.setting, []).append(finding.rule.id)
    for change in drift(signed, reading, subject):
        also = also_broken(broken, change.setting or "") if change.outcome == "broken" else None
        yield change._replace(remark=also) if also else change


def _beside_the_past(past: Past, device: Device, point: Point, subject: Subject) -> Iterator[Finding]:
    """Yield what changed of who stands where: the module, its address, its hardware address."""
    before = past.placements.get(point.name)
    if before is not None:
        is_same = before in device.ids
        found = f"it is {device.id}" if is_same else f"it was {before} and is {device.id} now"
        yield _finding(MODULE_KEPT, subject, "met" if is_same else "broken", found)
    live = [one for one in device.sightings if one.source in LIVE_SOURCES and one.is_dated and not one.is_gone]
    addresses = sorted({one.address for one in live if one.address is not None and "." in one.address})
    last = _of_device(past.addresses, device)
    if last is not None and "." in last and addresses:
        found = (
            f"it is at {', '.join(addresses)}"
            if last in addresses
            else f"it was at {last} and is at {addresses[0]} now"
        )
        yield _finding(ADDRESS_KEPT, subject, "met" if last in addresses else "broken", found)
    on_link = sorted({one.mac for one in live if one.source == "neighbour" and one.mac is not None})
    if device.mac is not None and on_link:
        found = f"it reports {device.mac}, and its address has {', '.join(on_link)}"
        yield _finding(MAC_TRUE, subject, "met" if on_link == [device.mac] else "broken", found)


def _of_device(past: Mapping[str, T], device: Device) -> T | None:
    """Return what the past holds of a device, which may have been known by less than its present id."""
    return next((past[identity] for identity in device.ids if identity in past), None)


def known_ids(device: Device) -> tuple[str, ...]:
    """Return all that a device may be known by: also its addresses, for traffic of nobody knew which device."""
    return (*device.ids, *(f"address:{address}" for address, _ in device.addresses))


def subject_of(point: Point | None, device: Device | None) -> Subject:
    """Return what a finding at this point, on this device, is about."""
    return Subject(
        device=device.id if device else None,
        device_title=device.title if device else None,
        point=point.name if point else None,
        room=point.room if point else None,
        kind=(device.kind if device and device.kind else None) or (point.kind if point else None),
    )


def _present(subject: Subject, device: Device | None, reading: Reading | None) -> Finding:
    if device is not None and (device.is_seen or (isinstance(reading, Snapshot) and reading.is_live)):
        return _finding(DEVICE_PRESENT, subject, "met", "it was seen")
    if device is not None and device.is_announced:
        return _finding(DEVICE_PRESENT, subject, "unverified", "only evidence of unknown age speaks of it")
    return _finding(DEVICE_PRESENT, subject, "broken", "nothing was seen or heard of it")


def _answers(subject: Subject, reading: Reading) -> Finding:
    if not isinstance(reading, Snapshot):
        return _finding(DEVICE_ANSWERS, subject, "unverified", reading.reason)
    return _finding(DEVICE_ANSWERS, subject, "met", f"{len(reading.values)} values read")


def _beside_the_plan(site: Site, placing: Placing, device: Device) -> Iterator[Finding]:
    point = placing.point_of(device)
    subject = subject_of(point, device)
    if not device.is_announced:
        return
    if point is None and placing.other_of(device) is None:
        where = ", ".join(address for address, _ in device.addresses) or "no address known"
        kind = device.kind or "of no kind that a profile knows"
        yield _finding(DEVICE_PLANNED, subject, "broken", f"{device.title} ({kind}, {where}) is in no plan")
    for address in sorted(_live_addresses(device)):
        parsed = parse_address(address)
        if parsed is not None and not parsed.is_link_local and not is_inside(parsed, site.networks.devices):
            yield _finding(DEVICE_INSIDE, subject, "broken", f"it is announced at {address}")


def _live_addresses(device: Device) -> set[str]:
    return {
        one.address
        for one in device.sightings
        if one.address is not None and one.source in LIVE_SOURCES and not one.is_gone
    }


def _contested(subject: Subject, conflict: Conflict) -> Finding:
    claims = " and ".join(conflict.claimants)
    return _finding(IDENTITY_UNIQUE, subject, "broken", f"{conflict.identity} is claimed by {claims}")


def _sources(reports: Sequence[SourceReport]) -> Iterator[Finding]:
    for report in reports:
        subject = Subject(device_title=report.source)
        if report.state == "heard":
            yield _finding(SOURCE_HEARD, subject, "met", report.detail)
        elif report.state != "silent" or report.is_needed:
            yield _finding(SOURCE_HEARD, subject, "unverified", report.detail)


def _finding(rule: Rule, subject: Subject, outcome: Outcome, remark: str, *, expected: str | None = None) -> Finding:
    return Finding(rule, subject, None, outcome, expected or rule.title.lower(), remark=remark)
