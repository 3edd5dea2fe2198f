"""Fennimoor: announced over MQTT, every setting a retained topic of its own, all values text; no clock and no cloud."""

from collections.abc import Mapping

from pattress.lab.house import ModuleState
from pattress.lab.maker import MqttMaker, encoded, said, share
from pattress.model.vocabulary import Value

_YES: Mapping[Value, Value] = {True: "aye", False: "nay"}
_RISES: Mapping[Value, Value] = {"off": "low", "on": "high", "as-before": "left", "as-input": "rope"}
_ROPE: Mapping[Value, Value] = {"maintained": "cleat", "momentary": "pull"}
_HAULS: Mapping[Value, Value] = {"copies": "with", "alternates": "across", "impulse": "by turns", "reports": "nothing"}


def _announcement(state: ModuleState) -> tuple[str, bytes]:
    payload = {
        "make": state.kind.removeprefix("fennimoor-"),
        "peg": state.module.mac,
        "lies": state.truth["net.address"],
    }
    return f"fennimoor/{state.module.serial}/ahoy", encoded(payload, is_rubbish=False)


def _retained(state: ModuleState) -> Mapping[str, bytes]:
    below = f"fennimoor/{state.module.serial}/log"
    return {f"{below}/{topic}": _text(value).encode() for topic, value in _entries(state).items()}


def _text(value: Value) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _entries(state: ModuleState) -> Mapping[str, Value]:
    truth = state.truth
    entries: dict[str, Value] = {
        # What its last will at the broker would change when it is gone.
        "afloat": "lost" if state.is_silent else "here",
        "plate/maker": "Fennimoor",
        "plate/make": state.kind.removeprefix("fennimoor-"),
        "plate/peg": state.module.mac,
        "plate/stamp": state.module.serial,
        "plate/edition": truth["firmware.version"],
        "radio/net": truth["net.ssid"],
        "radio/dbm": truth["net.rssi_dbm"],
        "radio/lantern": said(_YES, truth["net.setup_ap_open"]),
        "radio/lies": truth["net.address"],
        "radio/mooring": said({"dhcp": "lent", "static": "own"}, truth["net.address_source"]),
        "radio/channel": truth["net.gateway"],
        "radio/pilot": truth["net.dns"],
        "harbour/use": said(_YES, truth["mqtt.enabled"]),
        "harbour/name": truth["mqtt.host"],
        "harbour/berth": truth["mqtt.port"],
        "harbour/sealed": said(_YES, truth["mqtt.tls"]),
        "harbour/papers": said(_YES, truth["mqtt.authenticated"]),
        "harbour/moored": said(_YES, truth["mqtt.connected"]),
        "hatch/barred": said(_YES, truth["access.password_set"]),
        "bilge/tenths": share(truth["health.temperature_c"], 10),
        "bilge/awake": truth["health.uptime_s"],
        "bilge/room": truth["health.free_memory_bytes"],
    }
    for number, output in enumerate(state.channels("output"), start=1):
        entries |= {
            f"line{number}/runs": said(_YES, output["on"]),
            f"line{number}/rises": said(_RISES, output["at_power_up"]),
            f"line{number}/scorch/heeds": said(_YES, output["over_temperature.enabled"]),
            f"line{number}/scorch/tenths": share(output["over_temperature.limit_c"], 10),
        }
    for number, one in enumerate(state.channels("input"), start=1):
        entries |= {
            f"rope{number}/sort": said(_ROPE, one["contact"]),
            f"rope{number}/hauls": said(_HAULS, one["action"]),
            f"rope{number}/taut": said(_YES, one["closed"]),
        }
    for number, meter in enumerate(state.channels("meter"), start=1):
        entries |= {f"line{number}/load": meter["power_w"], f"line{number}/sum": meter["energy_wh"]}
    for number, led in enumerate(state.channels("led"), start=1):
        entries[f"line{number}/part"] = led["level_pct"]
    if state.kind == "fennimoor-lift":
        entries |= {
            # It counts how far the blind is down; the house counts how far it is open.
            "sail/down": 100 - int(truth["shutter.position_pct"]),
            "sail/known": said(_YES, truth["shutter.calibrated"]),
            "sail/longest": truth["shutter.max_run_s"],
            "sail/yields": said(_YES, truth["shutter.stops_on_obstacle"]),
        }
    if "led.supply_v" in truth:
        entries["feed/volts"] = truth["led.supply_v"]
    return entries


FENNIMOOR = MqttMaker(announcement=_announcement, retained=_retained)
