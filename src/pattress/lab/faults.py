"""The faults that the emulated house can have, each with what an audit must find of it.

What belongs here: faults as data, and the findings that follow from those that are on. What does not: bringing them
about (`run`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from pattress.lab.house import LabModule, Twist
from pattress.model.finding import Outcome
from pattress.model.rules import Policy, Requirement
from pattress.site.load import load_policy


class Expected(NamedTuple):
    """One finding that an audit must come to, where a healthy house has none but `met`."""

    title: str
    rule: str
    setting: str | None
    outcome: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong. `point` is where; None for a device in no plan.

    `found` holds rule, setting and outcome of the findings it leads to. `loses` are beginnings of the settings that it
    keeps from being read; "" is all of them. `misfits` are the settings that a reading must call unfit for their type.
    `joins` names the device that it adds to the network.
    """

    name: str
    what: str
    point: str | None
    twist: Twist = field(default_factory=Twist)
    found: tuple[tuple[str, str | None, Outcome], ...] = ()
    loses: tuple[str, ...] = ()
    misfits: tuple[str, ...] = ()
    joins: Literal["stranger", "double"] | None = None

    @property
    def hides_its_point(self) -> bool:
        """Whether nothing else that is wrong at its point can be seen."""
        return "" in self.loses


def expected_findings(
    faults: Iterable[Fault], modules: Mapping[str, LabModule], stranger_title: str
) -> frozenset[Expected]:
    """Return what an audit by the policy `isolated-house` must find with these faults on, besides what is met."""
    on = list(faults)
    hidden = {fault.point for fault in on if fault.hides_its_point}
    expected: set[Expected] = set()
    for fault in on:
        if fault.point in hidden and not fault.hides_its_point:
            continue
        title = fault.point or stranger_title
        expected.update(Expected(title, rule, setting, outcome) for rule, setting, outcome in fault.found)
        if fault.point is not None and fault.loses:
            expected.update(
                Expected(title, rule, setting, "unverified")
                for rule, setting in checks_of(modules[fault.point])
                if setting.startswith(fault.loses)
            )
    return frozenset(expected)


def checks_of(module: LabModule) -> list[tuple[str, str]]:
    """Return each rule of the policy with each setting of a module that it looks at."""
    return [
        (rule.id, setting)
        for rule in policy_of_the_house().rules
        for requirement in rule.requirements
        for setting in module.truth
        if fnmatchcase(setting, requirement.setting) and _is_asked_for(requirement, setting, module)
    ]


@cache
def policy_of_the_house() -> Policy:
    """Return the policy that the house is audited by."""
    return load_policy(POLICY, Path())


def _is_asked_for(requirement: Requirement, setting: str, module: LabModule) -> bool:
    """What the plan does not speak of is not asked for, where the rule lets it be silent."""
    return not requirement.is_planned or requirement.unplanned != "skip" or setting in module.plan


POLICY = "isolated-house"

_SILENCE: tuple[tuple[str, str | None, Outcome], ...] = (("device-answers", None, "unverified"),)

ALL_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="cloud-left-on",
        what="The maker's remote service was never turned off.",
        point="kitchen-worktop",
        twist=Twist(truth={"cloud.enabled": True}),
        found=(("cloud-off", "cloud.enabled", "broken"),),
    ),
    Fault(
        name="broker-off",
        what="The module does not use the broker.",
        point="bakehouse-lights",
        twist=Twist(truth={"mqtt.enabled": False}),
        found=(("broker-on", "mqtt.enabled", "broken"),),
    ),
    Fault(
        name="broker-outside",
        what="The module is set to a broker on the internet.",
        point="dining-room-lights",
        twist=Twist(truth={"mqtt.host": "broker.example.net"}),
        found=(("broker-inside", "mqtt.host", "broken"),),
    ),
    Fault(
        name="broker-anonymous",
        what="The module shows the broker no password.",
        point="bar-shelf-strip",
        twist=Twist(truth={"mqtt.authenticated": False}),
        found=(("broker-authenticated", "mqtt.authenticated", "broken"),),
    ),
    Fault(
        name="switch-still-acts",
        what="A wall switch that was to report only still moves its relay.",
        point="yard-lights",
        twist=Twist(truth={"input.1.action": "copies"}),
        found=(("input-as-planned", "input.1.action", "broken"),),
    ),
    Fault(
        name="switch-misjudged",
        what="A maintained wall switch is set as a momentary one.",
        point="guest-bath-fan",
        twist=Twist(truth={"input.1.contact": "momentary"}),
        found=(("input-as-planned", "input.1.contact", "broken"),),
    ),
    Fault(
        name="heat-guard-off",
        what="The protection against over-temperature is off.",
        point="laundry-socket",
        twist=Twist(truth={"output.1.over_temperature.enabled": False}),
        found=(("over-temperature-on", "output.1.over_temperature.enabled", "broken"),),
    ),
    Fault(
        name="heat-limit-high",
        what="The protection against over-temperature comes far too late.",
        point="loft-room-lights",
        twist=Twist(truth={"output.1.over_temperature.limit_c": 130}),
        found=(("over-temperature-limit", "output.1.over_temperature.limit_c", "broken"),),
    ),
    Fault(
        name="power-up-on",
        what="The boiler's call for heat closes by itself after a power cut.",
        point="boiler-call",
        twist=Twist(truth={"output.1.at_power_up": "on"}),
        found=(("power-up-as-planned", "output.1.at_power_up", "broken"),),
    ),
    Fault(
        name="no-password",
        what="No password protects the module's settings.",
        point="stair-strip",
        twist=Twist(truth={"access.password_set": False}),
        found=(("password-set", "access.password_set", "broken"),),
    ),
    Fault(
        name="setup-ap-open",
        what="The module's own access point is still open to the street.",
        point="library-lights",
        twist=Twist(truth={"net.setup_ap_open": True}),
        found=(("setup-ap-closed", "net.setup_ap_open", "broken"),),
    ),
    Fault(
        name="time-outside",
        what="The module asks a time server on the internet.",
        point="landing-lights",
        twist=Twist(truth={"time.server": "pool.example.net"}),
        found=(("time-server-inside", "time.server", "broken"),),
    ),
    Fault(
        name="old-firmware",
        what="The firmware is older than the one that was tried in this house.",
        point="hall-lights",
        twist=Twist(truth={"firmware.version": "3.2.9"}),
        found=(("firmware-as-planned", "firmware.version", "broken"),),
    ),
    Fault(
        name="weak-signal",
        what="The signal in the cellar is weak; the site's files accept that.",
        point="cellar-lights",
        twist=Twist(truth={"net.rssi_dbm": -79}),
        found=(("signal-strong", "net.rssi_dbm", "waived"),),
    ),
    Fault(
        name="cloud-still-connected",
        what="The remote service is off by its setting, and connected all the same.",
        point="boiler-call",
        twist=Twist(truth={"cloud.connected": True}),
        found=(("cloud-not-connected", "cloud.connected", "broken"),),
    ),
    Fault(
        name="debug-open",
        what="A debug interface answers everybody on the network.",
        point="hall-lights",
        twist=Twist(truth={"access.remote_debug": True}),
        found=(("remote-debug-closed", "access.remote_debug", "broken"),),
    ),
    Fault(
        name="broker-lost",
        what="The module has the right broker and no connection to it.",
        point="dining-room-lights",
        twist=Twist(truth={"mqtt.connected": False}),
        found=(("broker-connected", "mqtt.connected", "broken"),),
    ),
    Fault(
        name="broker-sealed",
        what="The module wants TLS of a broker that was planned without.",
        point="library-lights",
        twist=Twist(truth={"mqtt.tls": True}),
        found=(("broker-encrypted-as-planned", "mqtt.tls", "broken"),),
    ),
    Fault(
        name="address-elsewhere",
        what="The module has an address of another network.",
        point="loft-room-lights",
        twist=Twist(truth={"net.address": "198.51.100.16"}),
        found=(("address-inside", "net.address", "broken"),),
    ),
    Fault(
        name="address-by-hand",
        what="The module's address is fixed in the module.",
        point="wheel-room-blind",
        twist=Twist(truth={"net.address_source": "static"}),
        found=(("address-from-router", "net.address_source", "broken"),),
    ),
    Fault(
        name="gateway-outside",
        what="The module sends by way of a router that nobody here runs.",
        point="bar-shelf-strip",
        twist=Twist(truth={"net.gateway": "203.0.113.1"}),
        found=(("gateway-inside", "net.gateway", "broken"),),
    ),
    Fault(
        name="resolver-outside",
        what="The module asks a resolver on the internet.",
        point="boiler-call",
        twist=Twist(truth={"net.dns": "203.0.113.53"}),
        found=(("resolver-inside", "net.dns", "broken"),),
    ),
    Fault(
        name="guests-network",
        what="The module has joined the guests' Wi-Fi.",
        point="stair-strip",
        twist=Twist(truth={"net.ssid": "mill-race-guests"}),
        found=(("network-as-planned", "net.ssid", "broken"),),
    ),
    Fault(
        name="clock-an-hour-off",
        what="The module's clock is an hour ahead.",
        point="boiler-call",
        twist=Twist(truth={"time.offset_s": 3600.0}),
        found=(("clock-right", "time.offset_s", "broken"),),
    ),
    Fault(
        name="zone-unset",
        what="The module knows no time zone.",
        point="hall-lights",
        twist=Twist(truth={"time.zone": ""}),
        found=(("time-zone-set", "time.zone", "broken"),),
    ),
    Fault(
        name="updates-by-itself",
        what="The module updates itself whenever it can.",
        point="guest-bath-fan",
        twist=Twist(truth={"firmware.updates": "automatic"}),
        found=(("updates-by-hand", "firmware.updates", "broken"),),
    ),
    Fault(
        name="input-inverted",
        what="An input reports a closed contact as open.",
        point="yard-lights",
        twist=Twist(truth={"input.2.inverted": True}),
        found=(("input-sense-as-planned", "input.2.inverted", "broken"),),
    ),
    Fault(
        name="stays-on",
        what="An output that was to go off by itself stays on.",
        point="guest-bath-fan",
        twist=Twist(truth={"output.1.off_after_s": 0}),
        found=(("auto-off-as-planned", "output.1.off_after_s", "broken"),),
    ),
    Fault(
        name="overload-unguarded",
        what="No power is too much for the output.",
        point="kitchen-worktop",
        twist=Twist(truth={"output.1.over_power.limit_w": 0}),
        found=(("overload-protection-on", "output.1.over_power.limit_w", "broken"),),
    ),
    Fault(
        name="power-limit-high",
        what="The limit of power is above what the module is rated for.",
        point="laundry-socket",
        twist=Twist(truth={"output.1.over_power.limit_w": 4000}),
        found=(
            ("over-power-limit", "output.1.over_power.limit_w", "broken"),
            ("overload-as-planned", "output.1.over_power.limit_w", "broken"),
        ),
    ),
    Fault(
        name="current-limit-high",
        what="The limit of current is above what the module is rated for.",
        point="laundry-socket",
        twist=Twist(truth={"output.1.over_current.limit_a": 20}),
        found=(
            ("over-current-limit", "output.1.over_current.limit_a", "broken"),
            ("overload-as-planned", "output.1.over_current.limit_a", "broken"),
        ),
    ),
    Fault(
        name="dims-too-low",
        what="The dimmer goes lower than its lamps can follow.",
        point="loft-room-lights",
        twist=Twist(truth={"dimmer.1.min_level_pct": 2.0}),
        found=(("dimmer-minimum", "dimmer.1.min_level_pct", "broken"),),
    ),
    Fault(
        name="dims-on-the-wrong-edge",
        what="The dimmer cuts the edge that its lamps do not bear.",
        point="dining-room-lights",
        twist=Twist(truth={"dimmer.1.edge": "leading"}),
        found=(("dimmer-edge-as-planned", "dimmer.1.edge", "broken"),),
    ),
    Fault(
        name="supply-low",
        what="The supply of the LED strip gives way.",
        point="bar-shelf-strip",
        twist=Twist(truth={"led.supply_v": 20.5}),
        found=(("led-supply", "led.supply_v", "broken"),),
    ),
    Fault(
        name="shutter-unlearnt",
        what="The shutter does not know where it ends.",
        point="wheel-room-blind",
        twist=Twist(truth={"shutter.calibrated": False}),
        found=(("shutter-calibrated", "shutter.calibrated", "broken"),),
    ),
    Fault(
        name="shutter-runs-on",
        what="The shutter's motor may run for ten minutes.",
        point="mill-room-blind",
        twist=Twist(truth={"shutter.max_run_s": 600}),
        found=(("shutter-run", "shutter.max_run_s", "broken"),),
    ),
    Fault(
        name="shutter-pushes-on",
        what="The shutter does not stop at an obstacle.",
        point="mill-room-blind",
        twist=Twist(truth={"shutter.stops_on_obstacle": False}),
        found=(("shutter-stops", "shutter.stops_on_obstacle", "broken"),),
    ),
    Fault(
        name="voltage-high",
        what="One circuit has far too high a voltage, as it has where the neutral is lost.",
        point="landing-lights",
        twist=Twist(truth={"meter.1.voltage_v": 262.0}),
        found=(
            ("voltage-as-planned", "meter.1.voltage_v", "broken"),
            ("supply-in-range", "meter.1.voltage_v", "broken"),
        ),
    ),
    Fault(
        name="hot-inside",
        what="It is far too hot inside the module.",
        point="bakehouse-lights",
        twist=Twist(truth={"health.temperature_c": 91.0}),
        found=(("inside-cool", "health.temperature_c", "broken"),),
    ),
    Fault(
        name="restarts-often",
        what="The module has restarted again and again.",
        point="cellar-lights",
        twist=Twist(truth={"health.restarts": 212}),
        found=(("restarts-few", "health.restarts", "broken"),),
    ),
    Fault(
        name="memory-short",
        what="The module has next to no memory left.",
        point="yard-lights",
        twist=Twist(truth={"health.free_memory_bytes": 2048}),
        found=(("memory-free", "health.free_memory_bytes", "broken"),),
    ),
    Fault(
        name="never-answers",
        what="The module takes a connection and says nothing.",
        point="gate-release",
        twist=Twist(is_silent=True),
        found=_SILENCE,
        loses=("",),
    ),
    Fault(
        name="lost-to-the-broker",
        what="The module has no power; what it told the broker long ago is still there.",
        point="mill-room-blind",
        twist=Twist(is_silent=True),
        found=(("device-present", None, "unverified"), *_SILENCE),
        loses=("",),
    ),
    Fault(
        name="absent",
        what="The planned module is not there.",
        point="bakehouse-lights",
        twist=Twist(is_absent=True),
        found=(("device-present", None, "broken"),),
        loses=("",),
    ),
    Fault(
        name="stranger",
        what="A module that nobody planned is on the network.",
        point=None,
        found=(("device-planned", None, "broken"),),
        joins="stranger",
    ),
    Fault(
        name="two-claimants",
        what="A second device claims the hardware address of a planned one.",
        point="yard-lights",
        found=(("identity-unique", None, "broken"),),
        loses=("",),
        joins="double",
    ),
    Fault(
        name="another-kind",
        what="The module for the blind is set up as two separate relays, which can both be on.",
        point="wheel-room-blind",
        twist=Twist(kind="brackenvolt-twin"),
        found=(("module-as-planned", None, "broken"),),
    ),
    Fault(
        name="rubbish",
        what="One document of the module is cut short and no JSON.",
        point="wheel-room-blind",
        twist=Twist(rubbish_document="ways"),
        loses=("input.", "output.", "meter.", "shutter.", "health."),
    ),
    Fault(
        name="limit-as-text",
        what='A number that a rule looks at comes as text, "80".',
        point="kitchen-worktop",
        twist=Twist(truth={"output.1.over_temperature.limit_c": "80"}),
        found=(("over-temperature-limit", "output.1.over_temperature.limit_c", "unverified"),),
        misfits=("output.1.over_temperature.limit_c",),
    ),
    Fault(
        name="port-as-text",
        what='A number that no rule looks at comes as text, "1883".',
        point="hall-lights",
        twist=Twist(truth={"mqtt.port": "1883"}),
        misfits=("mqtt.port",),
    ),
)
FAULTS: Mapping[str, Fault] = {fault.name: fault for fault in ALL_FAULTS}

DEMO_FAULTS: tuple[str, ...] = (
    "cloud-left-on",
    "broker-outside",
    "switch-still-acts",
    "heat-guard-off",
    "power-up-on",
    "old-firmware",
    "weak-signal",
    "never-answers",
    "stranger",
)
"""What is wrong in the demo: a few of what a real house has after its first year."""
