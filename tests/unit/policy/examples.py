"""Small parts that the tests of the policy room are made of."""

import ipaddress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pattress.model.plan import Plan, Point
from pattress.model.profile import Document, HttpGet, Profile, SettingSource
from pattress.model.reading import ReadError, Reported, Snapshot
from pattress.model.rules import Policy, Requirement, Rule
from pattress.model.site import Networks, Site

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MAC = "00:00:5e:00:53:01"
HOUSE = ipaddress.ip_network("192.0.2.0/24")
NETWORKS = Networks(devices=(HOUSE,), inside=(HOUSE,))
TWIN = Profile(
    id="twin",
    maker="Maker",
    model="Twin",
    module_class="dual-relay",
    documents=(Document(id="all", request=HttpGet(path="/")),),
    settings=(
        SettingSource(name="mac", document="all", at="mac"),
        SettingSource(name="cloud.enabled", document="all", at="cloud"),
        SettingSource(name="output.*.at_power_up", document="all", at="x[{index}]"),
    ),
    channels={"output": 2, "input": 2},
    lacks=("time", "access.tls"),
)
KITCHEN = Point(
    name="kitchen-lamps",
    room="Kitchen",
    kind="twin",
    mac=MAC,
    settings={"output.1.at_power_up": "off", "output.2.at_power_up": "on", "firmware.version": "2.0"},
)


def rule(name: str, *requirements: Requirement, **more: Any) -> Rule:
    fields = {"title": name, "severity": "fault", "because": "because", "fix": "fix", **more}
    return Rule(id=name, requirements=requirements, **fields)


def policy(*rules: Rule) -> Policy:
    return Policy(id="test", title="Test", rules=rules, digest="0" * 64)


def need(setting: str, comparison: Any = "equal", operand: Any = True, **more: Any) -> Requirement:
    return Requirement(setting=setting, comparison=comparison, operand=operand, **more)


def snapshot(values: dict[str, Any], errors: dict[str, str] | None = None, device: str = f"mac:{MAC}") -> Snapshot:
    return Snapshot(
        device=device,
        kind="twin",
        taken_at=NOON,
        duration_s=0.1,
        values={name: Reported(value=value, origin=f"GET /, {name}") for name, value in values.items()},
        errors=tuple(ReadError(subject=name, reason=reason) for name, reason in (errors or {}).items()),
    )


def site(*points: Point, rules: tuple[Rule, ...] = (), **more: Any) -> Site:
    fields: dict[str, Any] = {
        "name": "House",
        "folder": Path(),
        "networks": NETWORKS,
        "plan": Plan(points=points),
        "policy": policy(*rules),
        "profiles": (TWIN,),
    }
    return Site(**{**fields, **more})
