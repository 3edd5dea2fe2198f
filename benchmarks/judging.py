"""Judging snapshots by the shipped policy, beside a JSON Schema of the same constraints compiled by fastjsonschema."""

import random
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import fastjsonschema

from benchmarks.documents import KIND, profile
from benchmarks.house import HOUSE_NETWORKS, PLANNED
from benchmarks.measured import Benchmark, Measured, Size
from pattress.model.finding import Subject
from pattress.model.plan import Point
from pattress.model.reading import Reported, Snapshot
from pattress.model.vocabulary import Value
from pattress.policy.compiled import Check, CompiledPolicy
from pattress.policy.evaluate import evaluate
from pattress.site.load import load_policy

RATIO_AT_MOST = 1.0
BROKEN_SHARE = 0.05  # of snapshots that have one broken setting
STATED_BY_SCHEMA = frozenset({
    *("cloud-off", "broker-on", "broker-inside", "broker-authenticated", "setup-ap-closed", "signal-strong"),
    *("time-server-inside", "password-set", "input-as-planned", "power-up-as-planned"),
    *("over-temperature-on", "over-temperature-limit"),
})  # fmt: skip
"""The rules of the policy that `SCHEMA` says too; the others would be work for one side only."""
POINT = Point(name="point", room="Hall", kind=KIND, settings=PLANNED)
SUBJECT = Subject(device="mac:02:00:5e:00:00:01", point="point", room="Hall", kind=KIND)
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)

Document = Mapping[str, Value]
Judge = Callable[[Sequence[Any]], int]


def measure(size: Size) -> Benchmark:
    """Judge the same values both ways, several times in turn; keep the best of each."""
    count = size.of(full=10_000, tiny=50)
    shipped = load_policy("isolated-house", Path())
    stated = tuple(rule for rule in shipped.rules if rule.id in STATED_BY_SCHEMA)
    policy = CompiledPolicy(replace(shipped, rules=stated), HOUSE_NETWORKS)
    checks = policy.checks(profile(80), POINT)
    validate = fastjsonschema.compile(SCHEMA)
    numbers = random.Random(20260301)
    met = [_document(numbers) for _ in range(count)]
    mixed = [_with_one_broken(one, numbers) if numbers.random() < BROKEN_SHARE else one for one in met]
    _require_agreement(checks, validate, mixed)

    def pair(what: str, documents: Sequence[Document], beside: str, goal: float | None) -> Measured:
        snapshots = [_snapshot(one) for one in documents]
        ours_s, theirs_s = _best_of_both(
            lambda: _judged(checks, snapshots), lambda: _validated(validate, documents), size.of(full=7, tiny=1)
        )
        by = count * len(checks) / 1e9
        return Measured(
            what=what, unit="ns", ours=ours_s / by, reference=theirs_s / by, beside=beside, ratio_at_most=goal
        )

    figures = [
        pair("one check, every value met", met, "fastjsonschema", RATIO_AT_MOST),
        pair(f"one check, {BROKEN_SHARE:.0%} of snapshots broken", mixed, "fastjsonschema, stops there", None),
    ]
    compile_s = min(_timed(lambda: policy.checks(profile(80), POINT)) for _ in range(size.of(full=50, tiny=1)))
    return Benchmark(
        title=f"judging: {count} snapshots of {len(met[0])} values, {len(checks)} checks each",
        figures=[*figures, Measured(what="planning the checks of one point", unit="us", ours=compile_s * 1e6)],
        notes=[
            f"ours makes {1e3 / figures[0].ours:.1f} million checks a second, each with an explained finding",
            "fastjsonschema only says yes, or the first no: it cannot go on after it",
        ],
    )


def _judged(checks: Sequence[Check], snapshots: Sequence[Snapshot]) -> int:
    return sum(len(evaluate(checks, SUBJECT, snapshot)) for snapshot in snapshots)


def _validated(validate: Callable[[Document], object], documents: Sequence[Document]) -> int:
    refused = 0
    for document in documents:
        try:
            validate(document)
        except fastjsonschema.JsonSchemaValueException:
            refused += 1
    return refused


def _require_agreement(
    checks: Sequence[Check], validate: Callable[[Document], object], documents: Sequence[Document]
) -> None:
    """Refuse to compare two things that do not judge alike."""
    for document in documents:
        outcomes = {finding.outcome for finding in evaluate(checks, SUBJECT, _snapshot(document))}
        is_refused = _validated(validate, [document]) == 1
        if outcomes - {"met", "broken"} or is_refused != ("broken" in outcomes):
            raise RuntimeError(f"the policy says {sorted(outcomes)}, the schema disagrees: {document}")


def _best_of_both(first: Callable[[], object], second: Callable[[], object], times: int) -> tuple[float, float]:
    both = [(_timed(first), _timed(second)) for _ in range(times)]
    return min(one for one, _ in both), min(other for _, other in both)


def _timed(call: Callable[[], object]) -> float:
    started_s = time.process_time()
    call()
    return time.process_time() - started_s


def _snapshot(document: Document) -> Snapshot:
    values = {name: Reported(value=value, origin="GET /all") for name, value in document.items()}
    return Snapshot(device="mac:02:00:5e:00:00:01", kind=KIND, taken_at=NOON, duration_s=0.5, values=values)


def _document(numbers: random.Random) -> dict[str, Value]:
    """Return the values of one device, all of them as the policy wants them, and some that no rule is about."""
    document: dict[str, Value] = {
        "maker": "Bench",
        "model": "Pair",
        "serial": f"BP{numbers.randrange(10**8):08d}",
        "firmware.version": "3.2.1",
        "cloud.enabled": False,
        "mqtt.enabled": True,
        "mqtt.host": f"192.0.2.{numbers.randrange(1, 255)}",
        "mqtt.port": 1883,
        "mqtt.authenticated": True,
        "net.address": f"192.0.2.{numbers.randrange(1, 255)}",
        "net.ssid": "house-iot",
        "net.rssi_dbm": numbers.randint(-69, -40),
        "net.setup_ap_open": False,
        "time.server": "192.0.2.1",
        "time.zone": "Europe/Lisbon",
        "access.password_set": True,
        "health.temperature_c": round(numbers.uniform(30, 60), 1),
        "health.uptime_s": numbers.randrange(10**7),
    }
    for channel in (1, 2):
        document |= {
            f"output.{channel}.on": numbers.random() < 0.5,
            f"output.{channel}.at_power_up": "off",
            f"output.{channel}.over_temperature.enabled": True,
            f"output.{channel}.over_temperature.limit_c": numbers.randint(70, 95),
            f"input.{channel}.contact": "maintained",
            f"input.{channel}.action": "reports",
            f"meter.{channel}.power_w": round(numbers.uniform(0, 2000), 1),
            f"meter.{channel}.voltage_v": round(numbers.uniform(220, 240), 1),
        }
    return document


_BREAKS: Sequence[tuple[str, Value]] = (
    ("cloud.enabled", True),
    ("mqtt.host", "198.51.100.7"),
    ("net.rssi_dbm", -82),
    ("output.2.over_temperature.limit_c", 130),
    ("input.1.action", "copies"),
    ("access.password_set", False),
)


def _with_one_broken(document: Document, numbers: random.Random) -> Document:
    name, value = numbers.choice(_BREAKS)
    return {**document, name: value}


_INSIDE = {"type": "string", "pattern": r"^192\.0\.2\.[0-9]{1,3}$"}  # the nearest that a schema has to a network
_CHANNELS = {
    r"^output\.[0-9]+\.at_power_up$": {"const": "off"},
    r"^output\.[0-9]+\.over_temperature\.enabled$": {"const": True},
    r"^output\.[0-9]+\.over_temperature\.limit_c$": {"type": "number", "maximum": 95},
    r"^input\.[0-9]+\.contact$": {"const": "maintained"},
    r"^input\.[0-9]+\.action$": {"const": "reports"},
}
SCHEMA: dict[str, object] = {
    "$schema": "http://json-schema.org/draft-07/schema#",
    "type": "object",
    "required": [
        "cloud.enabled", "mqtt.enabled", "mqtt.host", "mqtt.authenticated", "access.password_set", "net.setup_ap_open",
        "time.server", "net.rssi_dbm",
    ],
    "properties": {
        "cloud.enabled": {"const": False},
        "mqtt.enabled": {"const": True},
        "mqtt.host": _INSIDE,
        "mqtt.authenticated": {"const": True},
        "access.password_set": {"const": True},
        "net.setup_ap_open": {"const": False},
        "time.server": _INSIDE,
        "net.rssi_dbm": {"type": "number", "minimum": -70},
    },
    "patternProperties": _CHANNELS,
}  # fmt: skip
