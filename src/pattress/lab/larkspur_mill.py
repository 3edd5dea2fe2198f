"""Larkspur Mill, a small guest house that does not exist: who lives where, and what was planned for each place.

What belongs here: the house as data. The hardware addresses are of the range for documentation (RFC 7042 section
2.1.2), the host names of the domains for examples (RFC 2606).
"""

from dataclasses import dataclass, replace

from pattress.lab.house import Circumstances, LabModule
from pattress.lab.truths import (
    Truth,
    broker,
    caps,
    clock,
    cloud,
    dimmer,
    firmware,
    health,
    joined,
    led_strip,
    lock,
    meter,
    network,
    output,
    shutter,
    wall_switch,
)

HOUSE_NAME = "Larkspur Mill"


def larkspur_mill(where: Circumstances) -> tuple[LabModule, ...]:
    """Return every module of the plan, all of them healthy."""
    return (
        _module(where, 11, "brackenvolt-twin", "Hall", "hall-lights", -54, _pair("alternates")),
        _module(where, 12, "brackenvolt-gauge", "Kitchen", "kitchen-worktop", -61, _metered(640.5, 16)),
        _module(where, 13, "brackenvolt-hoist", "Wheel Room", "wheel-room-blind", -59, _blind(100)),
        _module(where, 14, "brackenvolt-dry", "Plant Room", "boiler-call", -58, _isolated("off", limit_c=75)),
        _module(where, 15, "quernlight-glow", "Dining Room", "dining-room-lights", -57, _dimmed(46.0, 83.2)),
        _module(where, 16, "quernlight-glow", "Loft Room", "loft-room-lights", -63, _dimmed(0.0, 0.0)),
        _module(where, 17, "quernlight-glow-two-wire", "Library", "library-lights", -60, _dimmed_two_wire(71.5)),
        _module(where, 18, "quernlight-ribbon", "Bar", "bar-shelf-strip", -52, _strip((30.0, 30.0, 12.5, 0.0), 24.08)),
        _module(where, 19, "ouseltide-reckoner", "Laundry", "laundry-socket", -64, _metered(1_180.0, 13)),
        _module(where, 20, "ouseltide-pair", "Landing", "landing-lights", -58, _pair("impulse")),
        _module(where, 21, "ouseltide-pair", "Cellar", "cellar-lights", -69, _pair("copies")),
        _module(where, 22, "ouseltide-dry", "Guest Bath", "guest-bath-fan", -67, _isolated("off")),
        _module(where, 23, "fennimoor-lift", "Mill Room", "mill-room-blind", -57, _blind(35)),
        _module(where, 24, "fennimoor-band", "Stairs", "stair-strip", -55, _strip((100.0, 0.0, 0.0, 40.0), 12.1)),
        _module(where, 25, "tarnhollow-latch", "Yard", "gate-release", -68, _isolated("off", limit_c=70)),
        _module(where, 26, "tarnhollow-brace", "Yard", "yard-lights", -65, _pair("reports")),
        _module(where, 27, "tarnhollow-ember", "Bakehouse", "bakehouse-lights", -56, _dimmed(60.0, 41.0, floor=20.0)),
    )


def stranger(where: Circumstances) -> LabModule:
    """Return a module that nobody planned: left over from an earlier tenant, still on the Wi-Fi."""
    return _module(where, 40, "tarnhollow-latch", None, None, -70, _isolated("off"))


def double(original: LabModule, where: Circumstances) -> LabModule:
    """Return a second device that claims the hardware address of `original`, with a serial of its own."""
    number, serial = 41, f"{original.serial[:-1]}X"
    names = {"serial": serial, "net.address": where.ground.address(number)}
    return replace(original, number=number, serial=serial, truth={**original.truth, **names}, point=None, room=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Range:
    """What the modules of one maker have in common. `lacks` are the last words, or the whole names, it has not."""

    models: dict[str, str]
    serial: str
    firmware: str
    planned_firmware: str
    temperature_c: float
    lacks: tuple[str, ...] = ()


_RANGES = {
    "brackenvolt": _Range(
        models={"twin": "Twin 10", "hoist": "Twin 10", "gauge": "Gauge 16", "dry": "Dry Contact"},
        serial="BV-20{number}-{mark:06}",
        firmware="3.4.1",
        planned_firmware="3.4.0",
        temperature_c=38.5,
    ),
    "quernlight": _Range(
        models={"glow": "Glow", "glow-two-wire": "Glow Two-Wire", "ribbon": "Ribbon"},
        serial="QL{number:03}{mark:06}",
        firmware="1.12.0",
        planned_firmware="1.9.2",
        temperature_c=44.0,
    ),
    "ouseltide": _Range(
        models={"reckoner": "reckoner", "pair": "pair", "dry": "dry"},
        serial="ot{number}k{mark}",
        firmware="0.88.4",
        planned_firmware="0.88.0",
        temperature_c=36.0,
        lacks=("time.zone", "access.remote_debug", "mqtt.connected", "inverted"),
    ),
    "fennimoor": _Range(
        models={"lift": "lift", "band": "band"},
        serial="FM{mark:08}",
        firmware="22.10",
        planned_firmware="22.4",
        temperature_c=40.5,
        lacks=(
            *("cloud.enabled", "cloud.connected", "cloud.host", "time.server", "time.zone", "time.offset_s"),
            *("firmware.updates", "access.remote_debug", "health.restarts"),
            *("off_after_s", "inverted", "voltage_v", "current_a", "power_factor"),
        ),
    ),
    "tarnhollow": _Range(
        models={"latch": "Latch", "brace": "Brace", "ember": "Ember"},
        serial="{number}{mark:07}",
        firmware="7",
        planned_firmware="6",
        temperature_c=41.3,
        lacks=("cloud.host", "time.zone"),
    ),
}


def _module(
    where: Circumstances, number: int, kind: str, room: str | None, point: str | None, rssi_dbm: int, circuits: Truth
) -> LabModule:
    maker, _, model = kind.partition("-")
    made = _RANGES[maker]
    serial = made.serial.format(number=number, mark=number * 7_919)
    mac = f"00:00:5e:00:53:{number:02x}"
    truth = joined(
        {"maker": maker.capitalize(), "model": made.models[model], "serial": serial, "mac": mac},
        firmware(made.firmware),
        cloud(maker),
        broker(where),
        network(where, number, rssi_dbm),
        clock(where),
        lock(),
        health(made.temperature_c, 3_600 * 7 * number, number % 3),
        circuits,
    )
    has_not = set(made.lacks)
    return LabModule(
        number=number,
        kind=kind,
        serial=serial,
        mac=mac,
        truth={
            name: value
            for name, value in truth.items()
            if name not in has_not and name.rpartition(".")[2] not in has_not
        },
        planned_firmware=made.planned_firmware,
        point=point,
        room=room,
    )


def _pair(action: str) -> Truth:
    contact = "momentary" if action == "impulse" else "maintained"
    return joined(
        output(1, is_on=True),
        output(2),
        wall_switch(1, contact, action, is_closed=action == "copies"),
        wall_switch(2, contact, action),
        meter(1, 57.6),
        meter(2, 0.0, energy_wh=9_120),
    )


def _metered(power_w: float, current_a: int) -> Truth:
    return joined(
        output(1, is_on=True, at_power_up="as-before", limit_c=80),
        caps(1, power_w=current_a * 215, current_a=current_a),
        wall_switch(1, "momentary", "reports"),
        meter(1, power_w, energy_wh=1_204_000),
    )


def _isolated(at_power_up: str, *, limit_c: int = 85) -> Truth:
    return joined(
        output(1, at_power_up=at_power_up, limit_c=limit_c, off_after_s=120), wall_switch(1, "maintained", "reports")
    )


def _blind(position_pct: int) -> Truth:
    return joined(
        output(1),
        output(2),
        wall_switch(1, "momentary", "reports"),
        wall_switch(2, "momentary", "reports"),
        meter(1, 0.0, energy_wh=310),
        meter(2, 0.0, energy_wh=290),
        shutter(position_pct),
    )


def _dimmed(level_pct: float, power_w: float, *, floor: float = 8.0) -> Truth:
    return joined(
        output(1, is_on=level_pct > 0, limit_c=90),
        wall_switch(1, "momentary", "impulse"),
        wall_switch(2, "momentary", "reports"),
        dimmer(1, level_pct, min_level_pct=floor),
        meter(1, power_w, energy_wh=77_000),
    )


def _dimmed_two_wire(level_pct: float) -> Truth:
    return joined(
        output(1, is_on=True, limit_c=90),
        wall_switch(1, "momentary", "impulse"),
        dimmer(1, level_pct, min_level_pct=15.0, edge="leading"),
    )


def _strip(levels_pct: tuple[float, ...], supply_v: float) -> Truth:
    return joined(
        *(output(number, is_on=level > 0, limit_c=70) for number, level in enumerate(levels_pct, start=1)),
        wall_switch(1, "momentary", "impulse"),
        wall_switch(2, "momentary", "reports"),
        led_strip(levels_pct, supply_v),
    )
