"""The shapes of `tables.toml` and of the shipped tables, and between which bounds their figures lie.

What belongs here: one flat shape for each kind of table in these files. What does not: laying them over one another.
"""

from collections.abc import Mapping

from pydantic import Field

from pattress.model.circuit import EdgeOfDimming, Family
from pattress.model.tables import Construction, FigureDefinition
from pattress.site.shapes import Shape, Table, Text

MOST_SIZES = 100  # [[size]] tables that are looked at; the shipped families have 8
LARGEST = 100_000  # of a size: no conductor of a house has more ohms, amperes or cubic centimetres


class SiteTablesShape(Shape):
    """The top of a site's `tables.toml`."""

    family: Family | None = Field(default=None, description="one of nec, iec")
    laying: Text | None = None
    figure: Table = Field(default={}, description="a [figure] table")
    kind: Table = Field(default={}, description="a [kind] table")
    size: list[Table] = Field(default=[], max_length=MOST_SIZES, description="[[size]] tables")


class FamilyShape(SiteTablesShape):
    """The top of a shipped file of a family."""

    title: Text
    edition: Text
    resistance_c: float
    ways: Table
    sources: Table


class FigureShape(Shape):
    """One figure: a number and where it stands."""

    value: float = Field(description="a number")
    source: Text = Field(description="where the number stands, or whose it is")


class KindShape(Shape):
    """One `[kind.NAME]` table."""

    power_factor: Table | None = None
    inrush: Table | None = None
    contact_share: Table | None = None
    dimmer_share: Table | None = None
    edges: list[EdgeOfDimming] | None = None


class SizeShape(Shape):
    """One `[[size]]` table. `source` is of all figures in it."""

    name: Text = Field(description="the name of a conductor of the family")
    awg: int | None = None
    area_mm2: float | None = Field(default=None, gt=0, le=1000)
    ohm_per_km: dict[Construction, float] = Field(default={}, description="numbers by solid, stranded, flexible")
    ohm_per_kft: dict[Construction, float] = Field(default={}, description="numbers by solid, stranded, flexible")
    capacity_a: dict[str, float] = Field(default={}, description="numbers by way of laying")
    breaker_a: float | None = None
    box_cm3: float | None = None
    box_in3: float | None = None
    mv_per_a_m: float | None = None
    source: Text | None = None


KIND_BOUNDS: Mapping[str, FigureDefinition] = {
    "power_factor": FigureDefinition(unit="1", least=0.1, most=1, meaning="real by apparent power"),
    "inrush": FigureDefinition(unit="1", least=1, most=1000, meaning="current of the first moment, by the steady one"),
    "contact_share": FigureDefinition(unit="1", least=0.01, most=1, meaning="usable part of a contact's rating"),
    "dimmer_share": FigureDefinition(unit="1", least=0.01, most=1, meaning="usable part of a dimmer's watts"),
}
