"""What a person plans of a circuit: its supply, what it feeds, the box, and which switch drives what.

What belongs here: the nouns. What does not: computing with them (`circuit`), and reading them from files.
"""

from dataclasses import dataclass
from typing import Literal, get_args

LoadKind = Literal[
    "resistive", "incandescent", "halogen", "led-lamp", "fluorescent", "led-strip", "motor", "socket", "electronic"
]
"""What a load is to a switch: by its inrush, its power factor, and whether it can be dimmed."""

LOAD_KINDS: tuple[LoadKind, ...] = get_args(LoadKind)

Hazard = Literal["heats", "pumps", "moves"]
"""What may hurt or flood when it comes on by itself: a heater, a pump, a door or a gate."""

Family = Literal["nec", "iec"]
"""NFPA 70 (NEC) style, or IEC 60364 / BS 7671 style."""

EdgeOfDimming = Literal["leading", "trailing"]

EDGES_OF_DIMMING: tuple[EdgeOfDimming, ...] = get_args(EdgeOfDimming)

Separation = Literal["barrier", "distance", "insulation", "none"]
"""How extra-low voltage and mains in one box are kept apart.

`barrier` is a partition, or a tube or a compartment of its own; `distance` that both are fixed so that a core which
slips out cannot reach the other; `insulation` that every core is insulated for the highest voltage present.
"""

SEPARATIONS: tuple[Separation, ...] = get_args(Separation)


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What one channel of a module feeds.

    `channel` is a name such as `output.1`, `dimmer.1`, `led.2` or `shutter`. `power_w` is of one piece, `count` how
    many there are. Where `power_factor` is None the kind's default counts. A load that runs for three hours or more is
    continuous. `is_potential_free` says that the contact must carry no voltage of its own (a gate's or a boiler's
    control input). Of an LED strip, `strip_w_per_m` and `strip_m` take the place of `power_w`; its leads have
    `lead_mm2` and `lead_m` (one way), and its supply gives `supply_w`. `dimmed_by` is the edge that lamps ask for.
    """

    channel: str
    kind: LoadKind
    name: str = ""
    power_w: float = 0.0
    count: int = 1
    power_factor: float | None = None
    is_continuous: bool = False
    is_potential_free: bool = False
    is_extra_low_voltage: bool = False
    hazard: Hazard | None = None
    is_lighting_outlet: bool = False
    strip_w_per_m: float | None = None
    strip_m: float | None = None
    lead_mm2: float | None = None
    lead_m: float | None = None
    supply_w: float | None = None
    dimmed_by: EdgeOfDimming | None = None

    @property
    def title(self) -> str:
        """What to call it: its name, else its kind."""
        return self.name or f"the {self.kind} load"

    @property
    def total_w(self) -> float:
        """The power of all pieces together, in watts."""
        if self.strip_w_per_m is not None and self.strip_m is not None:
            return self.strip_w_per_m * self.strip_m * self.count
        return self.power_w * self.count


@dataclass(frozen=True, slots=True, kw_only=True)
class Conductors:
    """Conductors of one size that enter a box, or a circuit's own. Exactly one of `mm2` and `awg` is given.

    `count` are those that count one each; grounds are counted apart.
    """

    mm2: float | None = None
    awg: int | None = None
    count: int = 0
    grounds: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box behind a plate. Volumes in cubic centimetres; `module_cm3` is what the module itself takes up.

    `clamps` are internal cable clamps, `yokes` devices on a strap (a switch, a socket), `fittings` supports such as
    hickeys. All count by NEC 314.16(B).
    """

    volume_cm3: float
    conductors: tuple[Conductors, ...] = ()
    clamps: int = 0
    yokes: int = 0
    fittings: int = 0
    module_cm3: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """A circuit at a point. Voltages are nominal; `length_m` is one way, from the protective device to the load.

    `has_neutral` is whether a neutral is in the box. `ambient_c` is the warmest that the room gets, in summer.
    `separation` is said only where extra-low voltage and mains share the box.
    """

    voltage_v: float
    is_dc: bool = False
    breaker_a: float | None = None
    conductors: Conductors | None = None
    length_m: float | None = None
    has_neutral: bool | None = None
    ambient_c: float | None = None
    loads: tuple[Load, ...] = ()
    box: Box | None = None
    separation: Separation | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What an input is planned to drive: a channel of the point's own module, or of another `point`'s."""

    input: int
    channel: str
    point: str | None = None
