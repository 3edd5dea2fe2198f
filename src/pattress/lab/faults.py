"""The faults that the emulated house can have, each with what an audit must find of it.

What belongs here: faults as data, and the findings that follow from those that are on. What does not: bringing them
about (`run`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Literal, NamedTuple

from pattress.lab.house import LabModule, Twist
from pattress.model.finding import Outcome


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
        (rule, setting)
        for rule, patterns in POLICY_SETTINGS.items()
        for setting in module.truth
        if any(fnmatchcase(setting, pattern) for pattern in patterns)
    ]


POLICY_SETTINGS: Mapping[str, tuple[str, ...]] = {
    "cloud-off": ("cloud.enabled",),
    "broker-on": ("mqtt.enabled",),
    "broker-inside": ("mqtt.host",),
    "broker-authenticated": ("mqtt.authenticated",),
    "input-as-planned": ("input.*.contact", "input.*.action"),
    "over-temperature-on": ("output.*.over_temperature.enabled",),
    "over-temperature-limit": ("output.*.over_temperature.limit_c",),
    "power-up-as-planned": ("output.*.at_power_up",),
    "password-set": ("access.password_set",),
    "setup-ap-closed": ("net.setup_ap_open",),
    "time-server-inside": ("time.server",),
    "firmware-as-planned": ("firmware.version",),
    "signal-strong": ("net.rssi_dbm",),
}
"""The rules of the policy `isolated-house`, and the settings that each looks at."""

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
        loses=("input.", "output."),
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
