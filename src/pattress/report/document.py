"""The JSON documents that machines read: one function for each `schema`, whose JSON Schema stands in `schemas/`.

A document only gains fields within its version. Times are UTC in the form of RFC 3339.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pattress.model.addresses import is_locally_administered
from pattress.model.device import Conflict, Device, Sighting
from pattress.model.errors import Fault
from pattress.model.finding import Finding, Outcome
from pattress.model.kept import PointSpan, SignOff
from pattress.model.reading import Reading, Snapshot
from pattress.model.rules import Override
from pattress.model.source import SourceReport
from pattress.model.vocabulary import SettingDefinition, Value, definition_of
from pattress.report.changes import Changes
from pattress.report.devices import PlacedKnownDevice
from pattress.report.text import Heading
from pattress.wire.makers import maker_of

Document = dict[str, Any]


def audit_document(
    heading: Heading,
    *,
    ended_at: datetime,
    counts: Mapping[Outcome, int],
    findings: Sequence[Finding],
    sources: Iterable[SourceReport],
    conflicts: Iterable[Conflict],
    changes: Changes | None = None,
) -> Document:
    """Return an audit as `pattress.audit/1`. Its findings become documents one by one, each time it is gone through."""
    return {
        "schema": "pattress.audit/1",
        "site": heading.site,
        "run": heading.run,
        "started_at": time_text(heading.started_at),
        "ended_at": time_text(ended_at),
        "policy": {
            "id": heading.policy,
            "sha256": heading.policy_digest,
            "overridden": [_override(one) for one in heading.overridden],
        },
        "counts": dict(counts),
        "findings": _Entries(findings),
        "sources": [_source(report) for report in sources],
        "conflicts": [{"identity": one.identity, "claimants": list(one.claimants)} for one in conflicts],
        "changes": None if changes is None else _changes(changes),
    }


def finding_entry(finding: Finding) -> Document:
    """Return one finding, as every document that holds findings has it."""
    subject, rule = finding.subject, finding.rule
    waiver = finding.waiver
    return {
        "rule": rule.id,
        "title": rule.title,
        "severity": rule.severity,
        "outcome": finding.outcome,
        "device": subject.device,
        "device_title": subject.device_title,
        "point": subject.point,
        "room": subject.room,
        "kind": subject.kind,
        "setting": finding.setting,
        "expected": finding.expected,
        "value": finding.value,
        "found": finding.found,
        "reason": finding.reason,
        "origin": finding.origin,
        "before": finding.before,
        "since": None if finding.since is None else time_text(finding.since),
        "sentence": finding.sentence,
        "because": rule.because,
        "fix": rule.fix,
        "cites": list(rule.cites),
        "waiver": None
        if waiver is None
        else {"reason": waiver.reason, "who": waiver.who, "until": waiver.until.isoformat()},
    }


def discover_document(
    devices: Iterable[Document], conflicts: Iterable[Conflict], sources: Iterable[SourceReport]
) -> Document:
    """Return what discovery saw as `pattress.discover/1`."""
    return {
        "schema": "pattress.discover/1",
        "devices": list(devices),
        "conflicts": [{"identity": one.identity, "claimants": list(one.claimants)} for one in conflicts],
        "sources": [_source(report) for report in sources],
    }


def device_entry(device: Device, *, point: str | None, other: str | None) -> Document:
    """Return one device of `pattress.discover/1`, with all its sightings."""
    return {
        "id": device.id,
        "mac": device.mac,
        "maker_by_oui": None if device.mac is None else maker_of(device.mac),
        "is_private_mac": None if device.mac is None else is_locally_administered(device.mac),
        "serial": device.serial,
        "name": device.name,
        "kind": device.kind,
        "point": point,
        "other": other,
        "addresses": [{"address": address, "port": port} for address, port in device.addresses],
        "sightings": [_sighting(sighting) for sighting in device.sightings],
    }


def reading_document(reading: Reading, *, point: str | None) -> Document:
    """Return one reading as `pattress.reading/1`."""
    common = {
        "schema": "pattress.reading/1",
        "device": reading.device,
        "point": point,
        "kind": reading.kind,
        "taken_at": time_text(reading.taken_at),
    }
    if not isinstance(reading, Snapshot):
        return {**common, "outcome": "unreadable", "reason": reading.reason, "settings": {}, "errors": []}
    settings = {name: _reported(name, reading) for name in sorted(reading.values)}
    errors = [{"subject": error.subject, "reason": error.reason} for error in reading.errors]
    return {**common, "outcome": "read", "reason": None, "settings": settings, "errors": errors}


def devices_document(known: Iterable[PlacedKnownDevice]) -> Document:
    """Return what the store knows of devices as `pattress.devices/1`."""
    return {"schema": "pattress.devices/1", "devices": [_known(one) for one in known]}


def history_document(known: PlacedKnownDevice, spans: Iterable[PointSpan]) -> Document:
    """Return what the settings of one device, or of those at one point, were as `pattress.history/1`."""
    return {
        "schema": "pattress.history/1",
        "device": _known(known),
        "spans": [
            {
                "device": span.device,
                "setting": span.setting,
                "value": span.value,
                "since": time_text(span.since),
                "until": None if span.until is None else time_text(span.until),
            }
            for span in spans
        ],
    }


def comparison_document(titles: tuple[str, str], rows: Iterable[tuple[str, Value | None, Value | None]]) -> Document:
    """Return two sides aligned by setting as `pattress.compare/1`."""
    return {
        "schema": "pattress.compare/1",
        "first": titles[0],
        "second": titles[1],
        "settings": [{"setting": name, "first": one, "second": other} for name, one, other in rows],
    }


def sign_off_document(signed: Iterable[SignOff], unread: Iterable[tuple[str, str]]) -> Document:
    """Return what was signed off, and what could not be, as `pattress.sign-off/1`."""
    return {
        "schema": "pattress.sign-off/1",
        "signed": [
            {
                "device": one.device,
                "point": one.point,
                "at": time_text(one.at),
                "who": one.who,
                "why": one.why,
                "settings": dict(one.values),
            }
            for one in signed
        ],
        "unread": [{"title": title, "reason": reason} for title, reason in unread],
    }


def settings_document(definitions: Iterable[SettingDefinition]) -> Document:
    """Return the vocabulary as `pattress.settings/1`."""
    return {
        "schema": "pattress.settings/1",
        "settings": [
            {
                "name": one.name,
                "type": one.type,
                "nature": one.nature,
                "unit": one.unit,
                "minimum": one.minimum,
                "maximum": one.maximum,
                "choices": list(one.choices),
                "meaning": one.meaning,
            }
            for one in definitions
        ],
    }


def faults_document(site: str | None, faults: Sequence[Fault]) -> Document:
    """Return the outcome of checking a site's files as `pattress.check/1`."""
    return {
        "schema": "pattress.check/1",
        "site": site,
        "is_valid": not faults,
        "faults": [
            {
                "file": fault.file,
                "line": fault.line,
                "place": fault.place,
                "found": fault.found,
                "expected": fault.expected,
                "nearest": fault.nearest,
            }
            for fault in faults
        ],
    }


def time_text(moment: datetime) -> str:
    """Return a moment in UTC in the form of RFC 3339."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class _Entries(list[Document]):
    """The entries of findings, made as they are asked for.

    The findings of a large site are far larger as documents. A list, since the standard encoder takes nothing else
    for an array; it goes through it once and asks only whether it is empty.
    """

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__()
        self._findings = findings

    def __len__(self) -> int:
        return len(self._findings)

    def __iter__(self) -> Iterator[Document]:
        return map(finding_entry, self._findings)


def _override(one: Override) -> Document:
    return {
        "rule": one.rule,
        "file": one.file,
        "fields": list(one.fields),
        "is_dropped": one.dropped is not None,
        "reason": one.reason,
    }


def _changes(changes: Changes) -> Document:
    return {
        "new": [finding_entry(finding) for finding in changes.new],
        "over": [
            {"place": place, "rule": rule, "setting": setting or None, "expected": expected, "outcome": outcome}
            for (place, rule, setting, expected), outcome in changes.over
        ],
        "unchanged": changes.unchanged,
    }


def _known(one: PlacedKnownDevice) -> Document:
    device = one.device
    return {
        "id": device.id,
        "point": one.point,
        "mac": device.mac,
        "serial": device.serial,
        "name": device.name,
        "kind": device.kind,
        "address": device.address,
        "port": device.port,
        "first_seen": time_text(device.first_seen),
        "last_seen": time_text(device.last_seen),
        "last_read": None if device.last_read is None else time_text(device.last_read),
        "last_outcome": device.last_outcome,
    }


def _source(report: SourceReport) -> Document:
    return {
        "source": report.source,
        "state": report.state,
        "detail": report.detail,
        "heard": report.heard_count,
        "is_needed": report.is_needed,
    }


def _sighting(sighting: Sighting) -> Document:
    return {
        "source": sighting.source,
        "channel": sighting.channel,
        "seen_at": time_text(sighting.seen_at),
        "name": sighting.name,
        "address": sighting.address,
        "port": sighting.port,
        "kind": sighting.kind,
        "is_gone": sighting.is_gone,
        "is_dated": sighting.is_dated,
        "details": dict(sorted(sighting.details.items())),
    }


def _reported(name: str, snapshot: Snapshot) -> Document:
    definition = definition_of(name)
    reported = snapshot.values[name]
    return {
        "value": reported.value,
        "unit": definition.unit if definition else None,
        "nature": definition.nature if definition else None,
        "origin": reported.origin,
    }
