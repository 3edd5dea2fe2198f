"""The audit as OpenMetrics 1.0 text, for a monitoring system to scrape or to read from a file.

Moments are given, not ages: an age that nobody writes any more would look young for ever, a moment grows old by itself.
Only types that readers of the older text format know are used.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pattress.identity import Merged
from pattress.model.device import Device
from pattress.model.finding import OUTCOMES, Finding
from pattress.model.plan import Plan
from pattress.model.reading import Reading, Snapshot
from pattress.model.rules import SEVERITIES
from pattress.model.source import SourceReport
from pattress.placing import Placing
from pattress.report.text import Heading
from pattress.report.visible import visible

Sample = tuple[Mapping[str, str], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointState:
    """What was seen of the module of one point.

    `seen_at` is the newest evidence with a date of its own, of whatever run; `read_at` is None where this run could not
    read it.
    """

    point: str
    room: str
    kind: str
    is_present: bool
    seen_at: datetime | None = None
    read_at: datetime | None = None


def point_states(plan: Plan, merged: Merged, readings: Mapping[str, Reading]) -> list[PointState]:
    """Return the state of every point of the plan, in its order. Strangers have none: they could be any number."""
    states = []
    devices = Placing(plan).at_points(merged.devices)
    for point in plan.points:
        device = devices.get(point.name)
        reading = readings.get(device.id) if device is not None else None
        snapshot = reading if isinstance(reading, Snapshot) else None
        is_read_live = snapshot is not None and snapshot.is_live
        states.append(
            PointState(
                point=point.name,
                room=point.room,
                kind=point.kind,
                is_present=is_read_live or (device is not None and device.is_seen),
                seen_at=_seen_at(device, snapshot if is_read_live else None),
                read_at=None if snapshot is None else snapshot.taken_at,
            )
        )
    return states


def audit_openmetrics(
    heading: Heading,
    findings: Sequence[Finding],
    *,
    ended_at: datetime,
    sources: Iterable[SourceReport],
    points: Sequence[PointState],
) -> str:
    """Return the figures of an audit as OpenMetrics text, to the closing `# EOF`."""
    site = {"site": heading.site}
    of_point = [(one, {**site, "room": one.room, "point": one.point, "kind": one.kind}) for one in points]
    policy = {**site, "policy": heading.policy, "sha256": heading.policy_digest}
    reports = list(sources)
    lines = [
        *_family("pattress_audit_policy", "The policy of the audit; always 1.", [(policy, 1)]),
        *_family("pattress_audit_run", "Number of the audit in the database.", [(site, heading.run)]),
        *_family("pattress_audit_started_timestamp", "When the audit began.",
                 [(site, heading.started_at.timestamp())], unit="seconds"),
        *_family("pattress_audit_ended_timestamp", "When the audit ended.",
                 [(site, ended_at.timestamp())], unit="seconds"),
        *_family("pattress_audit_duration", "How long the audit took.", [(site, heading.duration_s)], unit="seconds"),
        *_family("pattress_points", "Points in the plan.", [(site, heading.points)]),
        *_family("pattress_devices", "Devices that were seen, strangers too.", [(site, heading.devices)]),
        *_family("pattress_findings", "Findings by outcome and severity.", _counted(findings, site)),
        *_family("pattress_point_present", "Whether the module of the point was seen: 1 or 0.",
                 [(labels, float(one.is_present)) for one, labels in of_point]),
        *_family("pattress_point_seen_timestamp", "When the module of the point was last seen, in any audit.",
                 [(labels, one.seen_at.timestamp()) for one, labels in of_point if one.seen_at], unit="seconds"),
        *_family("pattress_point_read_timestamp", "When the module of the point was read in this audit.",
                 [(labels, one.read_at.timestamp()) for one, labels in of_point if one.read_at], unit="seconds"),
        *_family("pattress_source_heard", "Whether the source delivered: 1 or 0.",
                 [({**site, "source": one.source}, float(one.state == "heard")) for one in reports]),
        "# EOF",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _seen_at(device: Device | None, snapshot: Snapshot | None) -> datetime | None:
    moments = [] if snapshot is None else [snapshot.taken_at]
    if device is not None:
        moments += [
            one.seen_at for one in device.sightings if one.is_dated and not one.is_gone and one.source != "point"
        ]
    return max(moments, default=None)


def _counted(findings: Sequence[Finding], site: Mapping[str, str]) -> list[Sample]:
    """Return every combination, 0 too: a series that comes and goes cannot be watched."""
    pairs = [(finding.outcome, finding.rule.severity) for finding in findings]
    return [
        ({**site, "outcome": outcome, "severity": severity}, pairs.count((outcome, severity)))
        for outcome in OUTCOMES
        for severity in SEVERITIES
    ]


def _family(name: str, help_text: str, samples: Iterable[Sample], *, unit: str | None = None) -> Iterator[str]:
    """Yield one family of gauges in one block, its unit at the end of its name."""
    full_name = f"{name}_{unit}" if unit else name
    yield f"# TYPE {full_name} gauge"
    if unit:
        yield f"# UNIT {full_name} {unit}"
    yield f"# HELP {full_name} {_escaped(help_text)}"
    for labels, value in samples:
        words = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
        yield f"{full_name}{{{words}}} {_number(value)}"


def _escaped(text: str) -> str:
    return visible(text).replace("\\", "\\\\").replace('"', '\\"')


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
