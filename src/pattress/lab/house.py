"""The nouns of the emulated house: where it stands, its modules, and the state a module is in.

What belongs here: frozen descriptions. What does not: sockets, and how a maker writes its documents.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from pattress.model.vocabulary import Value

WayOut = Literal["tries", "reaches"]
"""Whether packets of a module to the outside are dropped by the router's filter, or answered."""

MAINS_V = 230  # nominal, as the plan of the house states it for each metered circuit


class Endpoint(NamedTuple):
    """An address and a port."""

    host: str
    port: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Where the house stands: its device network, and the prefix that a module's number completes to an address.

    With `prefix` None every module has the address `host`, each with a port of its own. `house_server` is the
    address of the broker and the time server of the house.
    """

    network: str
    house_server: str
    prefix: str | None

    def address(self, number: int) -> str:
        """Return the address of the module with this number."""
        return self.house_server if self.prefix is None else f"{self.prefix}.{number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What the modules of one house have been told about it: its ground and its broker."""

    ground: Ground
    broker: Endpoint


@dataclass(frozen=True, slots=True, kw_only=True)
class LabModule:
    """One emulated module: what it is, where it is planned, and the truth of each of its settings when healthy.

    `planned_firmware` is the oldest version that the plan accepts. `point` is None for a module in no plan.
    """

    number: int
    kind: str
    serial: str
    mac: str
    truth: Mapping[str, Value]
    planned_firmware: str
    point: str | None = None
    room: str | None = None

    @property
    def title(self) -> str:
        """What it is called here: its point, or its serial where it has none."""
        return self.point or self.serial

    @property
    def maker(self) -> str:
        """The first word of its kind."""
        return self.kind.partition("-")[0]

    @property
    def plan(self) -> Mapping[str, Value]:
        """Return the planned settings of its point: what a person chose, and the voltage that a meter is to see."""
        chosen = {name: value for name, value in self.truth.items() if _is_planned(name, value)}
        mains = {name: MAINS_V for name in self.truth if name.startswith("meter.") and name.endswith(".voltage_v")}
        return {**chosen, **mains, "firmware.version": self.planned_firmware}


@dataclass(frozen=True, slots=True, kw_only=True)
class ModuleState:
    """How a module is at one moment, with the faults that are on.

    `kind` is what it presents itself as. A silent module takes a connection, or keeps its retained messages, and says
    nothing; one that is not powered takes no connection either. `rubbish_document` names the one document that is not
    what it should be. `way_out` is what it has to do with the outside.
    """

    module: LabModule
    kind: str
    truth: Mapping[str, Value]
    is_present: bool = True
    is_powered: bool = True
    is_silent: bool = False
    rubbish_document: str | None = None
    way_out: WayOut | None = None

    def channels(self, group: str) -> list[Mapping[str, Value]]:
        """Return the settings of each channel of a group, in order, with `output.N.` and the like taken off."""
        found: dict[int, dict[str, Value]] = {}
        for name, value in self.truth.items():
            first, _, rest = name.partition(".")
            number, _, setting = rest.partition(".")
            if first == group and number.isdigit():
                found.setdefault(int(number), {})[setting] = value
        return [found[number] for number in sorted(found)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Twist:
    """What a fault changes about a module. `truth` overrides values, also with ones of a wrong type."""

    truth: Mapping[str, Value] = field(default_factory=dict)
    kind: str | None = None
    is_absent: bool = False
    is_silent: bool = False
    rubbish_document: str | None = None
    way_out: WayOut | None = None


def state_of(module: LabModule, twists: tuple[Twist, ...] = (), *, is_present: bool = True) -> ModuleState:
    """Return the state of a module under the twists of every fault that is on, the later before the earlier."""
    truth = dict(module.truth)
    for twist in twists:
        truth.update(twist.truth)
    return ModuleState(
        module=module,
        kind=next((twist.kind for twist in reversed(twists) if twist.kind), module.kind),
        truth=truth,
        is_present=is_present and not any(twist.is_absent for twist in twists),
        is_silent=any(twist.is_silent for twist in twists),
        rubbish_document=next((twist.rubbish_document for twist in reversed(twists) if twist.rubbish_document), None),
        way_out=next((twist.way_out for twist in reversed(twists) if twist.way_out), None),
    )


def _is_planned(name: str, value: Value) -> bool:
    if name.endswith(".off_after_s"):
        return value != 0  # 0 is never, which nobody plans for each lamp
    return _PLANNED.fullmatch(name) is not None


_PLANNED = re.compile(
    r"input\.\d+\.(?:contact|action|inverted)|output\.\d+\.(?:at_power_up|over_power\.limit_w|over_current\.limit_a)"
    r"|dimmer\.\d+\.(?:min_level_pct|edge)|mqtt\.tls|net\.ssid"
)
