"""How Larkspur Mill is wired, as its plan says: circuits, loads, boxes, and what each input is to drive.

What belongs here: the healthy plan, as data. What does not: what is planted in it (`misfits`), and the text (`wiring`).
All of it is invented; each load agrees with what its module's meter shows.
"""

from collections.abc import Iterator, Mapping

from pattress.lab.wiring import Wiring
from pattress.model.circuit import Box, Circuit, Conductors, Drive, Hazard, Load, LoadKind, Separation

TABLES_TEXT = """\
# The wiring code by which circuits are judged, with what this house sees otherwise.
family = "iec"

# IEC style knows no rule for the room in a box. The mill's electrician counts each size as the next larger gauge.
[[size]]
name = "0.75 mm2"
box_cm3 = 24.6
source = "the mill's electrician, after NEC 314.16(B) for 18 AWG"

[[size]]
name = "1.5 mm2"
box_cm3 = 32.8
source = "the mill's electrician, after NEC 314.16(B) for 14 AWG"

[[size]]
name = "2.5 mm2"
box_cm3 = 36.9
source = "the mill's electrician, after NEC 314.16(B) for 12 AWG"
"""


def larkspur_wiring() -> Mapping[str, Wiring]:
    """Return the wiring of every point of the plan, each suiting its module."""
    return {
        "hall-lights": _mains(
            _lamps("output.1", "ceiling lights", 9.6, 6, is_outlet=True), _lamps("output.2", "wall lamps", 6, 2)
        ),
        "kitchen-worktop": _mains(
            _load("output.1", "socket", "worktop sockets", 640), mm2=2.5, breaker_a=16, drives=(_drive(1, "output.1"),)
        ),
        "wheel-room-blind": _blind("wheel room blind", 150),
        "boiler-call": _mains(
            Load(
                channel="output.1",
                kind="electronic",
                name="call for heat",
                is_potential_free=True,
                is_extra_low_voltage=True,
                hazard="heats",
            ),
            drives=(_drive(1, "output.1"),),
            separation="insulation",
        ),
        "dining-room-lights": _mains(
            _load("dimmer.1", "halogen", "chandelier", 30, 6, is_outlet=True),
            drives=(_drive(2, "output.1", "yard-lights"),),
        ),
        "loft-room-lights": _mains(
            _lamps("dimmer.1", "loft lamps", 8, 5, is_outlet=True), length_m=28, drives=(_drive(2, "dimmer.1"),)
        ),
        "library-lights": _mains(
            _load("dimmer.1", "halogen", "reading lamps", 28, 4, is_outlet=True), has_neutral=False
        ),
        "bar-shelf-strip": _strips(24, {1: 3, 2: 3, 3: 3}, w_per_m=9.6, supply_w=120, lead_m=2, lead_mm2=0.75),
        "laundry-socket": _mains(
            _load("output.1", "socket", "washing machine", 1180), mm2=2.5, breaker_a=16, drives=(_drive(1, "output.1"),)
        ),
        "landing-lights": _mains(
            _lamps("output.1", "landing lamps", 9.6, 6, is_outlet=True), _lamps("output.2", "stair lamp", 8, 1)
        ),
        "cellar-lights": _mains(
            _lamps("output.1", "vault lamps", 9.6, 6, is_outlet=True), _lamps("output.2", "wine lamp", 5, 1)
        ),
        "guest-bath-fan": _mains(
            _load("output.1", "motor", "bathroom fan", 24, 1, power_factor=0.7), drives=(_drive(1, "output.1"),)
        ),
        "mill-room-blind": _blind("mill room blind", 120),
        "stair-strip": _strips(12, {1: 4, 4: 4}, w_per_m=4.8, supply_w=60, lead_m=1.5, lead_mm2=1.5),
        "gate-release": _extra_low(
            24,
            Load(
                channel="output.1",
                kind="electronic",
                name="gate opener's input",
                is_potential_free=True,
                is_extra_low_voltage=True,
                hazard="moves",
            ),
            drives=(_drive(1, "output.1"),),
        ),
        "yard-lights": _mains(
            _lamps("output.1", "yard floodlights", 28.8, 2, is_outlet=True),
            _lamps("output.2", "path lamps", 5, 4),
            length_m=35,
            drives=(_drive(1, "output.1"), _drive(2, "output.2")),
        ),
        "bakehouse-lights": _mains(
            _lamps("dimmer.1", "bakehouse lamps", 8.5, 8, is_outlet=True), drives=(_drive(2, "dimmer.1"),)
        ),
    }


def _mains(
    *loads: Load,
    mm2: float = 1.5,
    breaker_a: float = 10,
    length_m: float = 18,
    has_neutral: bool = True,
    drives: tuple[Drive, ...] = (),
    separation: Separation | None = None,
) -> Wiring:
    conductors = (Conductors(mm2=mm2, count=5 if has_neutral else 4, grounds=2),)
    circuit = Circuit(
        voltage_v=230,
        breaker_a=breaker_a,
        conductors=Conductors(mm2=mm2),
        length_m=length_m,
        has_neutral=has_neutral,
        ambient_c=30,
        loads=loads,
        box=Box(volume_cm3=420, conductors=conductors, clamps=1, yokes=1),
        separation=separation,
    )
    return Wiring(circuit=circuit, drives=drives)


def _extra_low(voltage_v: float, *loads: Load, drives: tuple[Drive, ...] = ()) -> Wiring:
    circuit = Circuit(
        voltage_v=voltage_v,
        is_dc=True,
        conductors=Conductors(mm2=1.5),
        length_m=1,
        ambient_c=35,
        loads=loads,
        box=Box(volume_cm3=300, conductors=(Conductors(mm2=0.75, count=6),)),
    )
    return Wiring(circuit=circuit, drives=drives)


def _blind(name: str, power_w: float) -> Wiring:
    motor = _load("shutter", "motor", name, power_w, 1, power_factor=0.8, hazard="moves")
    return _mains(motor, drives=(_drive(1, "shutter"), _drive(2, "shutter")))


def _strips(
    voltage_v: float, metres: Mapping[int, float], *, w_per_m: float, supply_w: float, lead_m: float, lead_mm2: float
) -> Wiring:
    return _extra_low(
        voltage_v,
        *_strip_loads(metres, w_per_m=w_per_m, supply_w=supply_w, lead_m=lead_m, lead_mm2=lead_mm2),
        drives=(_drive(2, "led.1"),),
    )


def _strip_loads(
    metres: Mapping[int, float], *, w_per_m: float, supply_w: float, lead_m: float, lead_mm2: float
) -> Iterator[Load]:
    for number, strip_m in metres.items():
        yield Load(
            channel=f"led.{number}",
            kind="led-strip",
            name=f"strip {number}",
            strip_w_per_m=w_per_m,
            strip_m=strip_m,
            lead_m=lead_m,
            lead_mm2=lead_mm2,
            supply_w=supply_w,
            is_lighting_outlet=number == 1,
        )


def _lamps(channel: str, name: str, power_w: float, count: int, *, is_outlet: bool = False) -> Load:
    return _load(channel, "led-lamp", name, power_w, count, is_outlet=is_outlet)


def _load(
    channel: str,
    kind: LoadKind,
    name: str,
    power_w: float,
    count: int = 1,
    *,
    power_factor: float | None = None,
    hazard: Hazard | None = None,
    is_outlet: bool = False,
) -> Load:
    return Load(
        channel=channel,
        kind=kind,
        name=name,
        power_w=power_w,
        count=count,
        power_factor=power_factor,
        hazard=hazard,
        is_lighting_outlet=is_outlet,
    )


def _drive(number: int, channel: str, point: str | None = None) -> Drive:
    return Drive(input=number, channel=channel, point=point)
