"""The `[data_sheet]` table of a profile into a `DataSheet`: what the maker promises of a kind.

What belongs here: its shape and the checks of its numbers. What does not: judging a circuit by them (`policy.fitness`).
"""

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field

from pattress.model.circuit import LOAD_KINDS, EdgeOfDimming, LoadKind
from pattress.model.profile import DataSheet
from pattress.site.files import TomlFile
from pattress.site.names import nearest
from pattress.site.shapes import Shape, Table
from pattress.site.words import said

_AMOUNT = "a number of at least 0"
_RANGE = "a range [low, high] of two numbers"
_LED_VOLTAGES = (5.0, 60.0)  # extra-low voltage: IEC 61140 counts direct current as such up to 120 V, ripple-free 60 V

NotNegative = Annotated[float, Field(ge=0)]
Range = Annotated[list[float], Field(min_length=2, max_length=2)]


class DataSheetShape(Shape):
    """The `[data_sheet]` table."""

    rated_current_a: NotNegative | None = Field(default=None, description=_AMOUNT)
    total_current_a: NotNegative | None = Field(default=None, description=_AMOUNT)
    rated_power_w: NotNegative | None = Field(default=None, description=_AMOUNT)
    motor_current_a: NotNegative | None = Field(default=None, description=_AMOUNT)
    load_w: Table = Field(default={}, description="a table of kinds of load and watts")
    minimum_load_w: NotNegative | None = Field(default=None, description=_AMOUNT)
    dimmer_edges: list[EdgeOfDimming] = Field(default=[], description="a list of leading and trailing")
    maximum_lamps: Annotated[int, Field(ge=1)] | None = Field(default=None, description="a whole number of at least 1")
    supply_ac_v: Range | None = Field(default=None, description=_RANGE)
    supply_dc_v: Range | None = Field(default=None, description=_RANGE)
    led_supply_v: list[float] = Field(default=[], description="a list of voltages, such as [12, 24]")
    has_isolated_contact: bool | None = None
    needs_neutral: bool | None = None
    maximum_temperature_c: float | None = None
    module_cm3: Annotated[float, Field(gt=0)] | None = Field(default=None, description="a number above 0")


def data_sheet_of(file: TomlFile) -> DataSheet | None:
    """Return the data sheet in a profile file, empty where there is none, or None after noting its faults."""
    shape = file.checked(DataSheetShape, ("data_sheet",), file.data.get("data_sheet", {}))
    if shape is None:
        return None
    before = len(file.faults)
    for key in ("supply_ac_v", "supply_dc_v"):
        written = getattr(shape, key)
        if written is not None and not 0 <= written[0] <= written[1]:
            found = f"[{written[0]:g}, {written[1]:g}]"
            file.fault(("data_sheet", key), found=found, expected="a range [low, high] with the lower voltage first")
    low, high = _LED_VOLTAGES
    for number, voltage in enumerate(shape.led_supply_v):
        if not low <= voltage <= high:
            at = ("data_sheet", "led_supply_v", number)
            file.fault(at, found=f"{voltage:g} V", expected=f"a voltage from {low:g} to {high:g} V")
    load_w = _load_w(file, shape.load_w)
    if len(file.faults) > before:
        return None
    return DataSheet(
        rated_current_a=shape.rated_current_a,
        total_current_a=shape.total_current_a,
        rated_power_w=shape.rated_power_w,
        motor_current_a=shape.motor_current_a,
        load_w=load_w,
        minimum_load_w=shape.minimum_load_w,
        dimmer_edges=tuple(dict.fromkeys(shape.dimmer_edges)),
        maximum_lamps=shape.maximum_lamps,
        supply_ac_v=_range(shape.supply_ac_v),
        supply_dc_v=_range(shape.supply_dc_v),
        led_supply_v=tuple(shape.led_supply_v),
        has_isolated_contact=shape.has_isolated_contact,
        needs_neutral=shape.needs_neutral,
        maximum_temperature_c=shape.maximum_temperature_c,
        module_cm3=shape.module_cm3,
    )


def _load_w(file: TomlFile, written: Table) -> Mapping[LoadKind, float]:
    """The watts by kind of load."""
    known: dict[str, LoadKind] = {kind: kind for kind in LOAD_KINDS}
    watts: dict[LoadKind, float] = {}
    for name, value in written.items():
        at = ("data_sheet", "load_w", name)
        if name not in known:
            expected, close = "one of " + ", ".join(LOAD_KINDS), nearest(name, LOAD_KINDS)
            file.fault(at, found="an unknown kind of load", expected=expected, nearest=close)
        elif isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < float("inf"):
            file.fault(at, found=said(value), expected=_AMOUNT)
        else:
            watts[known[name]] = float(value)
    return watts


def _range(written: list[float] | None) -> tuple[float, float] | None:
    return None if written is None else (written[0], written[1])
