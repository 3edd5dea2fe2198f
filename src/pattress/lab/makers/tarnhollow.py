"""Tarnhollow: announced by mDNS, terse JSON over HTTP GET, a header's key or Basic; codes and scaled integers."""

from collections.abc import Mapping

from pattress.lab.house import LabModule, ModuleState
from pattress.lab.maker import Documents, GuardKind, HttpMaker, get_route, said, share, time_s
from pattress.model.vocabulary import Value

_MODEL_CODES = {"tarnhollow-latch": 7, "tarnhollow-brace": 22, "tarnhollow-ember": 31}
_BIT: Mapping[Value, Value] = {True: 1, False: 0}
_POWER_UP: Mapping[Value, Value] = {"off": 0, "on": 1, "as-before": 2, "as-input": 3}
_CONTACT: Mapping[Value, Value] = {"maintained": 0, "momentary": 1}
_ACTION: Mapping[Value, Value] = {"reports": 0, "copies": 1, "alternates": 2, "impulse": 3}


def _instance(module: LabModule) -> str:
    return f"T{module.serial}"


def _txt(state: ModuleState) -> Mapping[str, str]:
    return {"k": str(_MODEL_CODES[state.kind]), "s": state.module.serial, "h": state.module.mac}


def _documents(state: ModuleState) -> Documents:
    return {"id": _id(state), "net": _net(state.truth), "io": _io(state)}


def _id(state: ModuleState) -> object:
    return {
        "b": "Tarnhollow",
        "k": _MODEL_CODES[state.kind],
        "s": state.module.serial,
        "h": state.module.mac.upper(),
        "v": state.truth["firmware.version"],
    }


def _net(truth: Mapping[str, Value]) -> object:
    return {
        "w": truth["net.ssid"],
        # The received power in half-decibel steps above -128 dBm, in one byte.
        "r": share(float(truth["net.rssi_dbm"]) + 128, 2),
        "ap": said(_BIT, truth["net.setup_ap_open"]),
        "ip": [truth["net.address"], truth["net.gateway"], truth["net.dns"]],
        "st": said({"dhcp": 0, "static": 1}, truth["net.address_source"]),
        "q": [
            said(_BIT, truth["mqtt.enabled"]),
            truth["mqtt.host"],
            truth["mqtt.port"],
            said(_BIT, truth["mqtt.tls"]),
            said(_BIT, truth["mqtt.authenticated"]),
            said(_BIT, truth["mqtt.connected"]),
        ],
        "c": [said(_BIT, truth["cloud.enabled"]), said(_BIT, truth["cloud.connected"])],
        "t": truth["time.server"],
        "ck": int(time_s(truth) * 1000),
        "pw": said(_BIT, truth["access.password_set"]),
        "dbg": said(_BIT, truth["access.remote_debug"]),
        "up": said({"manual": 0, "automatic": 1}, truth["firmware.updates"]),
    }


def _io(state: ModuleState) -> object:
    truth = state.truth
    document: dict[str, object] = {
        "o": [
            {
                "x": said(_BIT, output["on"]),
                "p": said(_POWER_UP, output["at_power_up"]),
                "d": share(output["off_after_s"], 10),
                "ot": [said(_BIT, output["over_temperature.enabled"]), share(output["over_temperature.limit_c"], 10)],
            }
            for output in state.channels("output")
        ],
        "i": [
            {
                "n": said(_CONTACT, one["contact"]),
                "a": said(_ACTION, one["action"]),
                "v": said(_BIT, one["inverted"]),
                "x": said(_BIT, one["closed"]),
            }
            for one in state.channels("input")
        ],
        "tt": share(truth["health.temperature_c"], 10),
        "ut": truth["health.uptime_s"],
        "rc": truth["health.restarts"],
        "fm": share(truth["health.free_memory_bytes"], 1 / 256),
    }
    if meters := state.channels("meter"):
        document["m"] = [
            [
                share(meter["power_w"], 10),
                share(meter["voltage_v"], 100),
                share(meter["current_a"], 1000),
                share(meter["power_factor"], 1000),
                meter["energy_wh"],
            ]
            for meter in meters
        ]
    if dimmers := state.channels("dimmer"):
        # Levels in one byte, 255 for full.
        document["l"] = [
            [share(dimmer["level_pct"], 2.55), share(dimmer["min_level_pct"], 2.55), said(_EDGE, dimmer["edge"])]
            for dimmer in dimmers
        ]
    return document


_EDGE: Mapping[Value, Value] = {"leading": 0, "trailing": 1}


def _guard(kind: str) -> GuardKind:
    return "basic" if kind == "tarnhollow-brace" else "header"


TARNHOLLOW = HttpMaker(
    service_type="_tarn._tcp.local.",
    instance=_instance,
    txt=_txt,
    documents=_documents,
    route=get_route({"/t/id": "id", "/t/net": "net", "/t/io": "io"}),
    open_documents=frozenset({"id"}),
    guard=_guard,
    header="X-Tarn-Key",
)
