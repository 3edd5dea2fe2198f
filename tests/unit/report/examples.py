"""An audit of a small house with one finding of each outcome, for the tests of reports."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from pattress.model.device import Conflict
from pattress.model.finding import OUTCOMES, Finding, Outcome, Subject
from pattress.model.rules import Override, Rule, Waiver
from pattress.model.source import SourceReport
from pattress.policy.builtin import AS_SIGNED_OFF
from pattress.report.formats import AuditResult, Format, written
from pattress.report.openmetrics import PointState
from pattress.report.text import Heading

STARTED_AT = datetime(2026, 11, 25, 3, 10, 0, 500_000, tzinfo=UTC)
ENDED_AT = STARTED_AT + timedelta(seconds=4.25)
HEAT = Rule(
    id="over-temperature",
    title="Over-temperature protection is on",
    severity="danger",
    because="A relay in a closed box has no other way to shed an overload.",
    fix="Turn it on.",
    cites=("IEC 60669-2-1",),
)
SIGNAL = Rule(id="signal", title="Signal", severity="advice", because="Weak is slow.", fix="Move the access point.")
ANSWERS = Rule(id="answers", title="The module answers", severity="fault", because="Silence.", fix="Look at it.")
HALL = Subject(device="mac:02:00:5e:00:53:01", device_title="Relay", point="hall-lights", room="Hall", kind="k")
ATTIC = Subject(device="mac:02:00:5e:00:53:02", device_title="Fan", point="attic-fan", room="Attic", kind="k")
STRANGER = Subject(device="name:lamp", device_title="lamp")
BROKER = Subject(device_title="broker house")
WAIVER = Waiver(rule="signal", reason="a thick wall", who="A. Keeper", until=date(2027, 1, 1), point="hall-lights")

BROKEN = Finding(HEAT, HALL, "output.1.over_temperature.enabled", "broken", "true", False)
UNVERIFIED = Finding(ANSWERS, ATTIC, None, "unverified", "the module answers", remark="no answer within 5 s")
WAIVED = Finding(SIGNAL, HALL, "net.rssi_dbm", "waived", "at least -70 dBm", -79.0, waiver=WAIVER)
MET = Finding(HEAT, ATTIC, "output.1.over_temperature.enabled", "met", "true", True)
FINDINGS = (BROKEN, UNVERIFIED, WAIVED, MET)
DRIFT = Finding(
    AS_SIGNED_OFF, HALL, "mqtt.port", "broken", '1883, as signed off on 2026-11-01 by "A"', 8883, before=1883
)

OVERRIDDEN = (
    Override(rule="signal", file="house.toml", fields=("severity", "require"), reason="thick walls"),
    Override(rule="over-temperature", file="house.toml", reason="no relays here", dropped=HEAT),
)
HEADING = Heading(
    site="Larkspur Mill",
    run=7,
    started_at=STARTED_AT,
    duration_s=4.25,
    policy="isolated-house",
    policy_digest="0123456789abcdef" * 4,
    points=2,
    devices=3,
    overridden=OVERRIDDEN,
)
SOURCES = (
    SourceReport(source="broker house", state="heard", detail="6 messages", heard_count=6),
    SourceReport(source="mDNS on iot0", state="silent", detail="nothing was heard", is_needed=True),
)
CONFLICTS = (Conflict(identity="mac:02:00:5e:00:53:09", mac=None, serial=None, claimants=("a at x", "b at y")),)
POINTS = (
    PointState(point="hall-lights", room="Hall", kind="k", is_present=True, seen_at=STARTED_AT, read_at=ENDED_AT),
    PointState(point="attic-fan", room="Attic", kind="k", is_present=False, seen_at=STARTED_AT - timedelta(days=2)),
)

# A name that a stranger may choose: markup, a way out of an attribute, a link, placeholders, a formula, controls,
# direction characters, what XML forbids, combining marks in a pile, and no place to break a line.
HOSTILE = (
    "=1+1<script>alert(1)</script>\"'><img src=x onerror=alert(1)>]]>&amp;[click](https://outside.example){0}\x1b[31m"
    "\u202egnp.exe\u2066\x00\ufffe\ud800\\now\n--></style>" + "a" + "\u0300" * 40 + "W" * 500
)
HOSTILE_SUBJECT = Subject(device=f"name:{HOSTILE}", device_title=HOSTILE, room=HOSTILE, kind=HOSTILE)


def hostile_findings() -> list[Finding]:
    """Return one finding of each outcome in which every text that a stranger or a file may choose is hostile."""
    rule = Rule(id="r", title=HOSTILE, severity="danger", because=HOSTILE, fix=HOSTILE, cites=(HOSTILE,))
    waiver = Waiver(rule="r", reason=HOSTILE, who=HOSTILE, until=date(2027, 1, 1), safe_because=HOSTILE)
    return [
        Finding(rule, HOSTILE_SUBJECT, setting, outcome, HOSTILE, HOSTILE if outcome != "unverified" else None, HOSTILE,
                origin=HOSTILE, waiver=waiver if outcome == "waived" else None)
        for outcome in OUTCOMES
        for setting in ("mqtt.host", None)
    ]  # fmt: skip


def whole(audit: AuditResult, format: Format) -> str:
    """Return a report in one piece."""
    return "".join(written(audit, format))


def result(findings: Sequence[Finding] = FINDINGS, heading: Heading = HEADING) -> AuditResult:
    """Return an audit with these findings."""
    counts: dict[Outcome, int] = {outcome: sum(one.outcome == outcome for one in findings) for outcome in OUTCOMES}
    return AuditResult(
        heading=heading,
        ended_at=ENDED_AT,
        counts=counts,
        findings=findings,
        sources=SOURCES,
        conflicts=CONFLICTS,
        points=POINTS,
        earlier={},
    )


def hostile_result() -> AuditResult:
    """Return an audit in which every text that a stranger or a file may choose is hostile."""
    findings = hostile_findings()
    return AuditResult(
        heading=Heading(site=HOSTILE, run=7, started_at=STARTED_AT, duration_s=4.25, policy=HOSTILE,
                        policy_digest="f" * 64, points=1, devices=1),
        ended_at=ENDED_AT,
        counts=dict.fromkeys(OUTCOMES, 2),
        findings=findings,
        sources=[SourceReport(source=HOSTILE, state="refused", detail=HOSTILE)],
        conflicts=[Conflict(identity=HOSTILE, mac=None, serial=None, claimants=(HOSTILE, HOSTILE))],
        points=[PointState(point=HOSTILE, room=HOSTILE, kind=HOSTILE, is_present=True, seen_at=STARTED_AT)],
        earlier={(HOSTILE, HOSTILE, HOSTILE, HOSTILE): "broken"},
    )  # fmt: skip
