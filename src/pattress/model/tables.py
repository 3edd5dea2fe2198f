"""The figures that questions about a circuit rest on, each with its source: of a code family, of conductors, of loads.

What belongs here: the nouns. What does not: the figures themselves, which are files, and reading or using them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from pattress.model.circuit import EdgeOfDimming, Family, LoadKind

Construction = Literal["solid", "stranded", "flexible"]
"""How a conductor is made: one wire, some wires (IEC 60228 class 2), many fine wires (class 5)."""

CONSTRUCTIONS: tuple[Construction, ...] = get_args(Construction)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number, and where it stands: a standard with its section, "common practice", or a site's own words."""

    value: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureDefinition:
    """What a named figure means. Its value lies between `least` and `most`, both included."""

    unit: str
    meaning: str
    least: float
    most: float


FIGURES: Mapping[str, FigureDefinition] = {
    "continuous_factor": FigureDefinition(
        unit="1", least=1, most=2, meaning="a continuous load counts this much against breaker and conductor"
    ),
    "module_continuous_factor": FigureDefinition(
        unit="1", least=1, most=2, meaning="a continuous load counts this much against a module's rating"
    ),
    "continuous_h": FigureDefinition(unit="h", least=0.1, most=24, meaning="from this many hours a load is continuous"),
    "contact_inrush": FigureDefinition(
        unit="1", least=1, most=1000, meaning="multiple of its rated current that a contact closes on"
    ),
    "contact_dc_v": FigureDefinition(
        unit="V", least=1, most=1500, meaning="up to this voltage a contact breaks its rated current of direct current"
    ),
    "drop_lighting_share": FigureDefinition(
        unit="1", least=0.001, most=0.5, meaning="largest voltage drop of a lighting circuit, as a share"
    ),
    "drop_other_share": FigureDefinition(
        unit="1", least=0.001, most=0.5, meaning="largest voltage drop of any other circuit, as a share"
    ),
    "drop_strip_share": FigureDefinition(
        unit="1", least=0.001, most=0.5, meaning="largest voltage drop of leads and strip together, as a share"
    ),
    "copper_ohm_m": FigureDefinition(
        unit="ohm m", least=1.5e-8, most=2e-8, meaning="resistivity of copper at 20 degrees Celsius"
    ),
    "copper_per_k": FigureDefinition(
        unit="1/K", least=0.0035, most=0.0045, meaning="temperature coefficient of copper at 20 degrees Celsius"
    ),
    "fine_strand_factor": FigureDefinition(
        unit="1", least=1, most=2, meaning="fine wires resist this much more than a solid one of their nominal area"
    ),
    "conductor_c": FigureDefinition(
        unit="Cel", least=-20, most=120, meaning="temperature of a conductor that carries its full load"
    ),
    "dimmer_small_w": FigureDefinition(
        unit="W", least=0, most=100, meaning="below this load it matters what a dimmer's least load is"
    ),
    "supply_headroom_factor": FigureDefinition(
        unit="1", least=1, most=3, meaning="a supply is sized for this multiple of what it feeds"
    ),
    "supply_tolerance_share": FigureDefinition(
        unit="1", least=0, most=0.5, meaning="how far the mains may lie from its nominal voltage, as a share"
    ),
    "class2_va": FigureDefinition(unit="VA", least=1, most=1000, meaning="largest output of a class 2 supply"),
    "class2_v": FigureDefinition(unit="V", least=1, most=1000, meaning="largest voltage of a class 2 supply"),
    "class2_a": FigureDefinition(unit="A", least=0.1, most=100, meaning="largest current of a class 2 supply"),
    "extra_low_ac_v": FigureDefinition(unit="V", least=1, most=1000, meaning="largest extra-low voltage, AC"),
    "extra_low_dc_v": FigureDefinition(unit="V", least=1, most=1500, meaning="largest extra-low voltage, DC"),
    "box_grounds_free": FigureDefinition(
        unit="1", least=1, most=100, meaning="this many grounds in a box count as one conductor"
    ),
    "box_ground_share": FigureDefinition(
        unit="1", least=0, most=1, meaning="each further ground counts this much of a conductor"
    ),
    "box_yoke_count": FigureDefinition(unit="1", least=0, most=10, meaning="conductors that one yoke counts as"),
}
"""Every single figure that there is, by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConductorSize:
    """One size of copper conductor, and what a code family says of it.

    `ohm_per_km` is by construction at the table's own temperature; `capacity_a` the current it may carry by way of
    laying, or by column of temperature; `breaker_a` the largest breaker whatever the capacity; `box_cm3` the room that
    one takes in a box; `mv_per_a_m` the published drop of the two conductors of a cable.
    """

    name: str
    area_mm2: float
    awg: int | None = None
    ohm_per_km: Mapping[Construction, Figure]
    capacity_a: Mapping[str, Figure]
    breaker_a: Figure | None = None
    box_cm3: Figure | None = None
    mv_per_a_m: Figure | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KindFacts:
    """What a kind of load is to a contact and to a dimmer.

    `inrush` is the current of the first moment as a multiple of the steady one. `contact_share` is the part of a
    contact's resistive rating that may be used, its inrush apart; `dimmer_share` the part of a dimmer's watts, None
    where the kind cannot be dimmed. `edges` are the edges of dimming that it stands, the better first.
    """

    power_factor: Figure
    inrush: Figure
    contact_share: Figure
    dimmer_share: Figure | None = None
    edges: tuple[EdgeOfDimming, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All figures of one code family, with a site's own in the place of some of them.

    `resistance_c` is the temperature that the resistances of `sizes` hold at; `laying` the way of laying that counts
    where none is said, one of `ways`.
    """

    family: Family
    title: str
    edition: str
    resistance_c: float
    laying: str
    ways: Mapping[str, str]
    sizes: tuple[ConductorSize, ...]
    figures: Mapping[str, Figure]
    kinds: Mapping[LoadKind, KindFacts]

    def figure(self, name: str) -> Figure:
        """Return the figure of a name in `FIGURES`."""
        return self.figures[name]

    def value(self, name: str) -> float:
        """Return the number of a name in `FIGURES`."""
        return self.figures[name].value
