"""Ouseltide: announced over MQTT (retained), asked and answered over MQTT in JSON; rows that carry their own number."""

from collections.abc import Mapping

from pattress.lab.house import ModuleState
from pattress.lab.maker import MqttMaker, encoded, said, share, time_as_text
from pattress.model.vocabulary import Value

_RETURNS: Mapping[Value, Value] = {"off": "ebb", "on": "flood", "as-before": "stand", "as-input": "drift"}
_THROWS: Mapping[Value, Value] = {"maintained": "stays", "momentary": "springs"}
_BINDS: Mapping[Value, Value] = {"copies": "same", "alternates": "other", "impulse": "next", "reports": "none"}


def _announcement(state: ModuleState) -> tuple[str, bytes]:
    payload = {
        "bird": state.kind.removeprefix("ouseltide-"),
        "ring": state.module.mac,
        "nest": state.truth["net.address"],
    }
    return f"ouseltide/perch/{state.module.serial}", encoded(payload, is_rubbish=False)


def _retained(state: ModuleState) -> Mapping[str, bytes]:
    return {}


def _answer(state: ModuleState, topic: str, payload: bytes) -> tuple[str, str, object] | None:
    serial = topic.rpartition("/")[2]
    if serial != state.module.serial:
        return None
    match payload:
        case b"whole self":
            return f"ouseltide/song/{serial}/self", "self", _self(state)
        case b"whole reach":
            return f"ouseltide/song/{serial}/reach", "reach", _reach(state)
        case _:
            return None


def _self(state: ModuleState) -> object:
    truth = state.truth
    return {
        "ring": {"maker": "Ouseltide", "bird": state.kind.removeprefix("ouseltide-"), "no": state.module.serial},
        "mac": state.module.mac,
        "moult": truth["firmware.version"],
        "moulting": said({"manual": "bidden", "automatic": "unbidden"}, truth["firmware.updates"]),
        "air": {
            "called": truth["net.ssid"],
            "hears": truth["net.rssi_dbm"],
            "decoy": truth["net.setup_ap_open"],
            "nest": truth["net.address"],
            "twigs": said({"dhcp": "lent", "static": "own"}, truth["net.address_source"]),
            "gap": truth["net.gateway"],
            "flock": truth["net.dns"],
        },
        "wire": {
            "kept": truth["mqtt.enabled"],
            "to": [truth["mqtt.host"], truth["mqtt.port"]],
            "cased": truth["mqtt.tls"],
            "signed": truth["mqtt.authenticated"],
        },
        "abroad": {"flies": truth["cloud.enabled"], "away": truth["cloud.connected"], "shore": truth["cloud.host"]},
        "sun": truth["time.server"],
        "sunAt": time_as_text(truth),
        "warded": truth["access.password_set"],
        "life": {
            "warmth": truth["health.temperature_c"],
            "hours": share(truth["health.uptime_s"], 1 / 3600),
            "hatched": truth["health.restarts"],
            "roomKi": share(truth["health.free_memory_bytes"], 1 / 1024),
        },
    }


def _reach(state: ModuleState) -> object:
    """The rows come last channel first: only the number in a row says which channel it is."""
    meters = state.channels("meter")
    reaches = []
    for number, output in enumerate(state.channels("output"), start=1):
        row: dict[str, object] = {
            "no": number,
            "runs": output["on"],
            "returns": said(_RETURNS, output["at_power_up"]),
            "stillAfter": output["off_after_s"],
            "fever": {"minds": output["over_temperature.enabled"], "at": output["over_temperature.limit_c"]},
        }
        if "over_power.limit_w" in output:
            row["spate"] = {"w": output["over_power.limit_w"], "a": output["over_current.limit_a"]}
        if meters:
            meter = meters[number - 1]
            row["flow"] = {
                "w": meter["power_w"],
                "v": meter["voltage_v"],
                "a": meter["current_a"],
                "pf": meter["power_factor"],
                "wh": meter["energy_wh"],
            }
        reaches.append(row)
    sluices = [
        {
            "no": number,
            "throw": said(_THROWS, one["contact"]),
            "binds": said(_BINDS, one["action"]),
            "shut": one["closed"],
        }
        for number, one in enumerate(state.channels("input"), start=1)
    ]
    return {"reaches": reaches[::-1], "sluices": sluices[::-1]}


OUSELTIDE = MqttMaker(announcement=_announcement, retained=_retained, ask_filter="ouseltide/call/+", answer=_answer)
