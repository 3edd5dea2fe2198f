"""Quernlight: announced by mDNS, JSON-RPC 2.0 over HTTP POST, bearer token; columns instead of rows, per mille, kelvin.

Source of the envelope: JSON-RPC 2.0 Specification (2013-01-04), sections 4 and 5.
"""

import json
from collections.abc import Mapping

from pattress.lab.house import LabModule, ModuleState
from pattress.lab.maker import Asked, Documents, GuardKind, HttpMaker, Refused, Routed, said, share, time_s
from pattress.model.vocabulary import Value

_NAMES = {
    "quernlight-glow": "Glow",
    "quernlight-glow-two-wire": "Glow Two-Wire",
    "quernlight-ribbon": "Ribbon",
}
_DAWN: Mapping[Value, Value] = {"off": "sleep", "on": "shine", "as-before": "remember", "as-input": "obey"}
_SORT: Mapping[Value, Value] = {"maintained": "latching", "momentary": "springing"}
_BOND: Mapping[Value, Value] = {"copies": "tied", "alternates": "crossed", "impulse": "nudged", "reports": "free"}
_CHAPTERS = {"ties": "ties", "lamps": "lamps"}


def _instance(module: LabModule) -> str:
    return f"quern-{module.serial.lower()}"


def _txt(state: ModuleState) -> Mapping[str, str]:
    return {"make": state.kind.removeprefix("quernlight-"), "e": state.module.mac.replace(":", ""), "v": "1"}


def _documents(state: ModuleState) -> Documents:
    return {"self": _self(state), "ties": _ties(state.truth), "lamps": _lamps(state)}


def _self(state: ModuleState) -> object:
    return {
        "lamp": {"maker": "Quernlight", "name": _NAMES[state.kind], "stamp": state.module.serial},
        "ether": state.module.mac.replace(":", ""),
        "build": {"text": state.truth["firmware.version"]},
    }


def _ties(truth: Mapping[str, Value]) -> object:
    return {
        "radio": {
            "network": truth["net.ssid"],
            "dbm": truth["net.rssi_dbm"],
            "doorstep": truth["net.setup_ap_open"],
        },
        "place": {
            "here": truth["net.address"],
            "fixed": said({"static": True, "dhcp": False}, truth["net.address_source"]),
            "uphill": truth["net.gateway"],
            "directory": truth["net.dns"],
        },
        "courier": {
            "hired": truth["mqtt.enabled"],
            "depot": truth["mqtt.host"],
            "gate": truth["mqtt.port"],
            "wrapped": truth["mqtt.tls"],
            "named": truth["mqtt.authenticated"],
            "onRoad": truth["mqtt.connected"],
        },
        "parlour": {
            "visits": truth["cloud.enabled"],
            "where": truth["cloud.host"],
            "seated": truth["cloud.connected"],
        },
        "bell": {"tower": truth["time.server"], "parish": truth["time.zone"], "struck": time_s(truth)},
        "keeper": {"word": truth["access.password_set"], "workshop": truth["access.remote_debug"]},
        "renewal": said({"manual": "asked", "automatic": "nightly"}, truth["firmware.updates"]),
    }


def _lamps(state: ModuleState) -> object:
    outputs, inputs = state.channels("output"), state.channels("input")
    dimmers, meters, leds = state.channels("dimmer"), state.channels("meter"), state.channels("led")
    document: dict[str, object] = {
        "burning": [output["on"] for output in outputs],
        "dawn": [said(_DAWN, output["at_power_up"]) for output in outputs],
        "curfewS": [output["off_after_s"] for output in outputs],
        "swoon": {
            "armed": [output["over_temperature.enabled"] for output in outputs],
            "at": [output["over_temperature.limit_c"] for output in outputs],
        },
        "plates": {
            "sort": [said(_SORT, one["contact"]) for one in inputs],
            "bond": [said(_BOND, one["action"]) for one in inputs],
            "flipped": [one["inverted"] for one in inputs],
            "touched": [one["closed"] for one in inputs],
        },
        "innerKelvin": share(float(state.truth["health.temperature_c"]) + 273.15, 1),
        "wakeS": state.truth["health.uptime_s"],
        "wakings": state.truth["health.restarts"],
        "atticB": state.truth["health.free_memory_bytes"],
    }
    if dimmers:
        document["shade"] = {
            "now": [share(dimmer["level_pct"], 10) for dimmer in dimmers],
            "floor": [share(dimmer["min_level_pct"], 10) for dimmer in dimmers],
            "slice": [said({"leading": "front", "trailing": "back"}, dimmer["edge"]) for dimmer in dimmers],
        }
    if leds:
        document["strip"] = {
            "now": [share(led["level_pct"], 10) for led in leds],
            "feedMillivolt": share(state.truth["led.supply_v"], 1000),
        }
    if meters:
        document["draw"] = {
            "milliwatt": [share(meter["power_w"], 1000) for meter in meters],
            "volt": [meter["voltage_v"] for meter in meters],
            "milliamp": [share(meter["current_a"], 1000) for meter in meters],
            "cos": [meter["power_factor"] for meter in meters],
            "wattHour": [meter["energy_wh"] for meter in meters],
        }
    return document


def _route(asked: Asked) -> Routed | Refused:
    if asked.path != "/hearth":
        return Refused(status=404, body={"error": "nothing here"})
    if asked.method != "POST":
        return Refused(status=405, body={"error": "call me"})
    try:
        call = json.loads(asked.body)
    except ValueError:
        return _fault(None, -32700, "Parse error")
    if not isinstance(call, dict) or call.get("jsonrpc") != "2.0" or "id" not in call:
        return _fault(None, -32600, "Invalid Request")
    identity, params = call["id"], call.get("params") or {}
    if call.get("method") == "introduce":
        document = "self"
    elif call.get("method") != "recount":
        return _fault(identity, -32601, "Method not found")
    elif not isinstance(params, dict) or params.get("chapter") not in _CHAPTERS:
        return _fault(identity, -32602, "Invalid params")
    else:
        document = _CHAPTERS[params["chapter"]]
    return Routed(document=document, wrap=lambda result: {"jsonrpc": "2.0", "id": identity, "result": result})


def _fault(identity: object, code: int, message: str) -> Refused:
    return Refused(status=200, body={"jsonrpc": "2.0", "id": identity, "error": {"code": code, "message": message}})


def _guard(kind: str) -> GuardKind:
    return "bearer"


QUERNLIGHT = HttpMaker(
    service_type="_quernlight._tcp.local.",
    instance=_instance,
    txt=_txt,
    documents=_documents,
    route=_route,
    open_documents=frozenset({"self"}),
    guard=_guard,
)
