"""Brackenvolt: announced by mDNS, three JSON documents over HTTP GET, Digest; words for everything, minutes, kWh."""

from collections.abc import Mapping

from pattress.lab.house import LabModule, ModuleState
from pattress.lab.maker import Documents, GuardKind, HttpMaker, get_route, said, share, time_as_text
from pattress.model.vocabulary import Value

_ARTICLES = {
    "brackenvolt-gauge": "Gauge 16",
    "brackenvolt-twin": "Twin 10",
    "brackenvolt-hoist": "Twin 10",
    "brackenvolt-dry": "Dry Contact",
}
_YES: Mapping[Value, Value] = {True: "yes", False: "no"}
_WAKES: Mapping[Value, Value] = {"off": "dark", "on": "lit", "as-before": "resumed", "as-input": "as the key stands"}
_KEYS: Mapping[Value, Value] = {"maintained": "rocker", "momentary": "push"}
_DOES: Mapping[Value, Value] = {"copies": "mirrors", "alternates": "turns over", "impulse": "steps", "reports": "tells"}


def _instance(module: LabModule) -> str:
    return f"Brackenvolt {module.serial}"


def _txt(state: ModuleState) -> Mapping[str, str]:
    role = {"brackenvolt-hoist": "blind", "brackenvolt-twin": "pair"}.get(state.kind, "single")
    article = str(_ARTICLES[state.kind]).lower().replace(" ", "-")
    return {
        "article": article,
        "role": role,
        "ether": state.module.mac.replace(":", "-"),
        "number": state.module.serial,
    }


def _documents(state: ModuleState) -> Documents:
    return {"plate": _plate(state), "ties": _ties(state.truth), "ways": _ways(state)}


def _plate(state: ModuleState) -> object:
    return {
        "house": "Brackenvolt",
        "article": _ARTICLES[state.kind],
        "number": state.module.serial,
        "ether": state.module.mac.replace(":", "-"),
        "edition": state.truth["firmware.version"],
    }


def _ties(truth: Mapping[str, Value]) -> object:
    return {
        "aerial": {
            "joins": truth["net.ssid"],
            "strength": truth["net.rssi_dbm"],
            "welcome-cell": said({True: "open", False: "off"}, truth["net.setup_ap_open"]),
        },
        "seat": {
            "at": truth["net.address"],
            "given": said({"dhcp": "by the router", "static": "by hand"}, truth["net.address_source"]),
            "way-out": truth["net.gateway"],
            "names": truth["net.dns"],
        },
        "post": {
            "wanted": said(_YES, truth["mqtt.enabled"]),
            "house": truth["mqtt.host"],
            "door": truth["mqtt.port"],
            "sealed": said(_YES, truth["mqtt.tls"]),
            "signed": said(_YES, truth["mqtt.authenticated"]),
            "up": said(_YES, truth["mqtt.connected"]),
        },
        "far-service": {
            "wanted": said(_YES, truth["cloud.enabled"]),
            "house": truth["cloud.host"],
            "up": said(_YES, truth["cloud.connected"]),
        },
        "hours": {"from": truth["time.server"], "place": truth["time.zone"], "now": time_as_text(truth)},
        "door": {"locked": said(_YES, truth["access.password_set"]), "bench": said(_YES, truth["access.remote_debug"])},
        "editions": said({"manual": "when told", "automatic": "when out"}, truth["firmware.updates"]),
    }


def _ways(state: ModuleState) -> object:
    truth = state.truth
    document: dict[str, object] = {
        "ways": [_way(output) for output in state.channels("output")],
        "keys": [
            {
                "sort": said(_KEYS, key["contact"]),
                "does": said(_DOES, key["action"]),
                "reversed": said(_YES, key["inverted"]),
                "made": said(_YES, key["closed"]),
            }
            for key in state.channels("input")
        ],
        "counters": [
            {
                "watts": meter["power_w"],
                "volts": meter["voltage_v"],
                "amps": meter["current_a"],
                "cos": meter["power_factor"],
                "kwh": share(meter["energy_wh"], 0.001),
            }
            for meter in state.channels("meter")
        ],
        "warmth": truth["health.temperature_c"],
        "awake-min": share(truth["health.uptime_s"], 1 / 60),
        "starts": truth["health.restarts"],
        "spare-bytes": truth["health.free_memory_bytes"],
    }
    if state.kind == "brackenvolt-hoist":
        document["blind"] = {
            "open-part": share(truth["shutter.position_pct"], 0.01),
            "taught": said(_YES, truth["shutter.calibrated"]),
            "longest-s": truth["shutter.max_run_s"],
            "yields": said(_YES, truth["shutter.stops_on_obstacle"]),
        }
    return document


def _way(output: Mapping[str, Value]) -> object:
    way: dict[str, object] = {
        "stands": said({True: "lit", False: "dark"}, output["on"]),
        "wakes": said(_WAKES, output["at_power_up"]),
        "rests-after-min": share(output["off_after_s"], 1 / 60),
        "heat-guard": {
            "watch": said({True: "awake", False: "asleep"}, output["over_temperature.enabled"]),
            "trips-at": output["over_temperature.limit_c"],
        },
    }
    if "over_power.limit_w" in output:
        way["ceiling"] = {"watts": output["over_power.limit_w"], "amps": output["over_current.limit_a"]}
    return way


def _guard(kind: str) -> GuardKind:
    return "digest-md5" if kind == "brackenvolt-dry" else "digest-sha-256"


BRACKENVOLT = HttpMaker(
    service_type="_bracken._tcp.local.",
    instance=_instance,
    txt=_txt,
    documents=_documents,
    route=get_route({"/plate": "plate", "/ties": "ties", "/ways": "ways"}),
    open_documents=frozenset({"plate"}),
    guard=_guard,
)
