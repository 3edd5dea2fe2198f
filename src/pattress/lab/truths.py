"""What is true of a healthy module, by the names of the vocabulary, in blocks that the kinds are put together from.

What belongs here: values. What does not: how a maker writes them (`makers`), and who lives where (`larkspur_mill`).
"""

from collections.abc import Mapping

from pattress.lab.house import Circumstances
from pattress.model.vocabulary import Value

Truth = Mapping[str, Value]
FREE_MEMORY_BYTES = 47 * 1024  # a whole number in each unit that a maker counts it in


def firmware(version: str) -> Truth:
    """Return a firmware that someone updates, when they say so."""
    return {"firmware.version": version, "firmware.updates": "manual"}


def cloud(maker: str) -> Truth:
    """Return a remote service that is known by name and switched off."""
    return {"cloud.enabled": False, "cloud.connected": False, "cloud.host": f"relay.{maker}.example"}


def broker(where: Circumstances) -> Truth:
    """Return a module that is set to the broker of the house and shows its password there."""
    return {
        "mqtt.enabled": True,
        "mqtt.host": where.broker.host,
        "mqtt.port": where.broker.port,
        "mqtt.tls": False,
        "mqtt.authenticated": True,
        "mqtt.connected": True,
    }


def network(where: Circumstances, number: int, rssi_dbm: int) -> Truth:
    """Return a module on the Wi-Fi of the house whose set-up access point is closed."""
    return {
        "net.address": where.ground.address(number),
        "net.address_source": "dhcp",
        "net.gateway": where.ground.house_server,
        "net.dns": where.ground.house_server,
        "net.ssid": "mill-race-things",
        "net.rssi_dbm": rssi_dbm,
        "net.setup_ap_open": False,
    }


def clock(where: Circumstances) -> Truth:
    """Return a clock that follows the time server of the house. Its offset is what it is off by when it is asked."""
    return {"time.server": where.ground.house_server, "time.zone": "Europe/Dublin", "time.offset_s": 0.0}


def lock() -> Truth:
    """Return a module that asks for a password and has no debug interface open."""
    return {"access.password_set": True, "access.remote_debug": False}


def health(temperature_c: float, uptime_s: int, restarts: int) -> Truth:
    """Return the module's own well-being."""
    return {
        "health.temperature_c": temperature_c,
        "health.uptime_s": uptime_s,
        "health.restarts": restarts,
        "health.free_memory_bytes": FREE_MEMORY_BYTES,
    }


def output(
    number: int, *, is_on: bool = False, at_power_up: str = "off", limit_c: int = 85, off_after_s: int = 0
) -> Truth:
    """Return an output that sheds its load when it is too hot."""
    return _channel(
        "output",
        number,
        {
            "on": is_on,
            "at_power_up": at_power_up,
            "off_after_s": off_after_s,
            "over_temperature.enabled": True,
            "over_temperature.limit_c": limit_c,
        },
    )


def caps(number: int, *, power_w: int, current_a: int) -> Truth:
    """Return an output that also sheds its load at a power or a current."""
    return _channel("output", number, {"over_power.limit_w": power_w, "over_current.limit_a": current_a})


def wall_switch(number: int, contact: str, action: str, *, is_closed: bool = False) -> Truth:
    """Return an input with a wall switch on it."""
    return _channel("input", number, {"contact": contact, "action": action, "inverted": False, "closed": is_closed})


def meter(number: int, power_w: float, *, voltage_v: float = 231.4, energy_wh: int = 48_200) -> Truth:
    """Return a meter on a load of power factor 1."""
    return _channel(
        "meter",
        number,
        {
            "power_w": power_w,
            "voltage_v": voltage_v,
            "current_a": round(power_w / voltage_v, 3),
            "power_factor": 1.0,
            "energy_wh": energy_wh,
        },
    )


def dimmer(number: int, level_pct: float, *, min_level_pct: float = 8.0, edge: str = "trailing") -> Truth:
    """Return a dimmed circuit."""
    return _channel("dimmer", number, {"level_pct": level_pct, "min_level_pct": min_level_pct, "edge": edge})


def led_strip(levels_pct: tuple[float, ...], supply_v: float) -> Truth:
    """Return the PWM channels of an LED controller and its supply."""
    levels: dict[str, Value] = {
        f"led.{number}.level_pct": level_pct for number, level_pct in enumerate(levels_pct, start=1)
    }
    return {**levels, "led.supply_v": supply_v}


def shutter(position_pct: int, *, max_run_s: int = 24) -> Truth:
    """Return a shutter that has learned its end positions."""
    return {
        "shutter.position_pct": position_pct,
        "shutter.calibrated": True,
        "shutter.max_run_s": max_run_s,
        "shutter.stops_on_obstacle": True,
    }


def joined(*blocks: Truth) -> dict[str, Value]:
    """Return the blocks as one truth."""
    return {name: value for block in blocks for name, value in block.items()}


def _channel(group: str, number: int, settings: Truth) -> Truth:
    return {f"{group}.{number}.{setting}": value for setting, value in settings.items()}
