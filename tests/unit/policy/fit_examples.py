"""Parts that the tests of fitness are made of: kinds by the trade's common figures, circuits, and judging one point.

Common practice: a metered relay of 16 A or 3500 W, whichever is reached first; a dual relay of 10 A a circuit; a relay
with an isolated contact fed by 110 to 260 V AC or 12 to 48 V DC; a dimmer of 200 W; an LED controller for 12 or 24 V.
"""

from dataclasses import replace
from typing import Any

from pattress.model.circuit import Circuit, Conductors, Load
from pattress.model.plan import Plan, Point
from pattress.model.profile import DataSheet, ModuleClass, Profile
from pattress.model.tables import Tables
from pattress.policy.fit_case import Fit
from pattress.policy.fitness import fits
from pattress.site.tables_file import shipped_tables

IEC, NEC = shipped_tables("iec"), shipped_tables("nec")
MAINS: dict[str, Any] = {
    "voltage_v": 230,
    "breaker_a": 16,
    "conductors": Conductors(mm2=1.5),
    "length_m": 18,
    "has_neutral": True,
    "ambient_c": 30,
}
STRIP_SUPPLY: dict[str, Any] = {
    **MAINS,
    "voltage_v": 24,
    "is_dc": True,
    "breaker_a": None,
    "has_neutral": None,
    "length_m": 1,
}
AMERICA: dict[str, Any] = {**MAINS, "voltage_v": 120, "breaker_a": 20, "conductors": Conductors(awg=12)}
DOWNLIGHTS = Load(channel="output.1", kind="led-lamp", name="six downlights", power_w=9, count=6)
HEATER = Load(channel="output.1", kind="resistive", name="towel rail", power_w=1000)


def kind(module_class: ModuleClass, *, sheet: DataSheet | None = None, **channels: int) -> Profile:
    default = DataSheet(
        supply_ac_v=(110, 260),
        has_isolated_contact=False,
        needs_neutral=True,
        maximum_temperature_c=40,
        module_cm3=30,
    )
    return Profile(
        id="one", maker="Maker", model="One", module_class=module_class, channels=channels, data_sheet=sheet or default
    )


def rated(profile: Profile, **fields: Any) -> Profile:
    return replace(profile, data_sheet=replace(profile.data_sheet, **fields))


RELAY = rated(kind("metered-relay", output=1, input=1), rated_current_a=16, rated_power_w=3500)
TWIN = rated(kind("dual-relay", output=2, input=2), rated_current_a=10, rated_power_w=2300, total_current_a=16)
DRY = rated(
    kind("isolated-contact-relay", output=1, input=1),
    rated_current_a=10,
    supply_dc_v=(12, 48),
    has_isolated_contact=True,
)
DIMMER = rated(
    kind("dimmer", output=1, input=1, dimmer=1), rated_power_w=200, minimum_load_w=3, dimmer_edges=("trailing",)
)
RIBBON = rated(
    kind("led-controller", output=4, led=4),
    supply_ac_v=None,
    supply_dc_v=(12, 24),
    led_supply_v=(12, 24),
    rated_current_a=4,
    total_current_a=12,
    needs_neutral=False,
)
LIFT = rated(kind("shutter", output=2, input=2), rated_current_a=10, motor_current_a=4)


def judged(
    profile: Profile,
    *loads: Load,
    tables: Tables = IEC,
    settings: dict[str, Any] | None = None,
    **circuit: Any,
) -> dict[str, Fit]:
    """Every outcome at a point by rule, the channel behind it where there are several."""
    point = Point(
        name="here",
        room="Room",
        kind=profile.id,
        settings=settings or {},
        circuit=Circuit(**{**MAINS, "loads": loads, **circuit}),
    )
    outcomes: dict[str, Fit] = {}
    for fit in fits(point, profile, Plan(points=(point,)), tables):
        outcomes[f"{fit.rule.id} {fit.channel}" if fit.rule.id in outcomes else fit.rule.id] = fit
    return outcomes


STRIP = Load(channel="led.1", kind="led-strip", strip_w_per_m=14.4, strip_m=5, lead_mm2=0.75, lead_m=5, supply_w=100)
