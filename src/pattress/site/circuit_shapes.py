"""The shapes of the tables of a point that say what its module is wired into, and the types of their fields.

What belongs here: what one table by itself must be. What does not: what tables need of one another and of the kind
(`circuit_file`). The bounds catch slips of a unit (kilowatts for watts, centimetres for metres), not bad practice.
"""

from typing import Annotated

from pydantic import Field

from pattress.model.circuit import EdgeOfDimming, Hazard, LoadKind, Separation
from pattress.site.shapes import Shape, Table, Text

_MM2 = "a cross-section in mm², from 0.05 to 300"
_AWG = "a wire gauge as a whole number from 0 to 30"
_POWER = "the power of one piece in watts, above 0 and at most 100000"
_COUNT = "a whole number from 0 to 100"

SquareMillimetres = Annotated[float, Field(ge=0.05, le=300)]
Gauge = Annotated[int, Field(ge=0, le=30)]
Few = Annotated[int, Field(ge=0, le=100)]
Watts = Annotated[float, Field(gt=0, le=100_000)]


class CircuitShape(Shape):
    """The `[point.circuit]` table."""

    voltage_v: Annotated[float, Field(ge=5, le=1000)] = Field(description="the nominal voltage, from 5 to 1000 V")
    dc: bool = False
    breaker_a: Annotated[float, Field(ge=1, le=125)] | None = Field(
        default=None, description="the rating of the protective device, from 1 to 125 A"
    )
    conductor_mm2: SquareMillimetres | None = Field(default=None, description=_MM2)
    conductor_awg: Gauge | None = Field(default=None, description=_AWG)
    length_m: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        default=None, description="the length one way, from 0 to 1000 m"
    )
    neutral: bool | None = None
    ambient_c: Annotated[float, Field(ge=-40, le=80)] | None = Field(
        default=None, description="the warmest that the room gets, from -40 to 80 °C"
    )
    separation: Separation | None = None


class LoadShape(Shape):
    """One `[[point.load]]` table."""

    channel: Text = Field(description="the channel that it is wired to, such as output.1")
    kind: LoadKind = Field(description="a kind of load, such as led-lamp")
    name: Text | None = None
    power_w: Watts | None = Field(default=None, description=_POWER)
    count: Annotated[int, Field(ge=1, le=1000)] = Field(default=1, description="a whole number from 1 to 1000")
    power_factor: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None, description="a power factor above 0 and at most 1"
    )
    continuous: bool = False
    potential_free: bool = False
    extra_low_voltage: bool = False
    hazard: Hazard | None = None
    lighting_outlet: bool = False
    dimmed_by: EdgeOfDimming | None = None
    strip_w_per_m: Annotated[float, Field(gt=0, le=200)] | None = Field(
        default=None, description="the power of one metre in watts, above 0 and at most 200"
    )
    strip_m: Annotated[float, Field(gt=0, le=200)] | None = Field(
        default=None, description="the length of the strip, above 0 and at most 200 m"
    )
    lead_mm2: SquareMillimetres | None = Field(default=None, description=_MM2)
    lead_m: Annotated[float, Field(ge=0, le=200)] | None = Field(
        default=None, description="the length of the leads one way, from 0 to 200 m"
    )
    supply_w: Watts | None = Field(default=None, description="the rating of its supply, above 0 and at most 100000 W")


class BoxShape(Shape):
    """The `[point.box]` table."""

    volume_cm3: Annotated[float, Field(ge=10, le=50_000)] | None = Field(
        default=None, description="a volume from 10 to 50000 cm³"
    )
    volume_in3: Annotated[float, Field(ge=1, le=3_000)] | None = Field(
        default=None, description="a volume from 1 to 3000 in³"
    )
    clamps: Few = Field(default=0, description=_COUNT)
    yokes: Few = Field(default=0, description=_COUNT)
    fittings: Few = Field(default=0, description=_COUNT)
    module_cm3: Annotated[float, Field(ge=1, le=2_000)] | None = Field(
        default=None, description="a volume from 1 to 2000 cm³"
    )
    conductors: list[Table] = Field(default=[], description="[[point.box.conductors]] tables")


class ConductorsShape(Shape):
    """One `[[point.box.conductors]]` table."""

    mm2: SquareMillimetres | None = Field(default=None, description=_MM2)
    awg: Gauge | None = Field(default=None, description=_AWG)
    count: Few = Field(default=0, description=_COUNT)
    grounds: Few = Field(default=0, description=_COUNT)


class DriveShape(Shape):
    """One `[[point.drive]]` table."""

    input: Annotated[int, Field(ge=1, le=64)] = Field(description="the number of an input of this point's kind")
    channel: Text = Field(description="the channel that it drives, such as output.1")
    point: Text | None = Field(default=None, description="the name of the point whose channel it is")


STRIP_KEYS: tuple[str, ...] = ("strip_w_per_m", "strip_m", "lead_mm2", "lead_m", "supply_w")
"""Keys of a load that belong to LED strips only."""
