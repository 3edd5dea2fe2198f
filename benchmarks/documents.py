"""A kind of device that exists only here: its three documents and the profile that reads them.

What belongs here: 40 settings in documents of the size that modules send. What does not: who serves or reads them.
"""

import json

from pattress.model.profile import Access, Document, HttpGet, Profile, SettingSource
from pattress.model.vocabulary import Value

KIND = "bench-pair"
LIMIT_C = 85  # of over-temperature, unless it is said otherwise
DOCUMENTS = ("label", "links", "lines")
SETTING_COUNT = 40

_YES_NO: dict[str, Value] = {"yes": True, "no": False}


def mac_of(number: int) -> str:
    """Return the hardware address of the device with this number, counted from 0; locally administered."""
    digits = f"{0x0200_5E00_0000 + number:012x}"
    return ":".join(digits[start : start + 2] for start in range(0, 12, 2))


def bodies(number: int, limit_c: int = LIMIT_C) -> dict[str, bytes]:
    """Return the documents of a device as it sends them, by path; `limit_c` is that of its first line."""
    documents = {"label": _label(number), "links": _links(number), "lines": _lines(number, limit_c)}
    return {f"/{name}": json.dumps(document).encode() for name, document in documents.items()}


def profile(port: int) -> Profile:
    """Return the profile of the kind, for devices that listen on this port."""
    return Profile(
        id=KIND,
        maker="Bench",
        model="Pair",
        module_class="dual-relay",
        access=Access(port=port),
        documents=tuple(Document(id=name, request=HttpGet(path=f"/{name}")) for name in DOCUMENTS),
        settings=_SETTINGS,
        channels={"output": 2, "input": 2, "meter": 2},
    )


def jq_filter() -> str:
    """Return the `jq` filter that finds the same settings in the three documents, read as one list."""
    found = []
    for source in _SETTINGS:
        place = DOCUMENTS.index(source.document or "")
        for index in range(2) if "*" in source.name else (0,):
            name = source.name.replace("*", str(index + 1))
            found.append(f'"{name}": .[{place}].{(source.at or "").replace("{index}", str(index))}')
    return "{" + ", ".join(found) + "}"


def _label(number: int) -> object:
    return {
        "made": {"by": "Bench", "as": "Pair", "week": "2025-31", "batch": 1000 + number % 7, "plant": "north hall"},
        "unit": {"number": f"BP{number:08d}", "ether": mac_of(number), "board": "rev C", "flash_kb": 4096},
        "program": {
            "edition": "3.2.1",
            "built": "2026-02-11T09:14:00Z",
            "other_slot": "3.1.7",
            "fetches": "when told",
            "parts": [{"part": f"section {one}", "edition": f"3.2.{one}", "bytes": 20_480 + one} for one in range(14)],
        },
        "marks": [f"label {mark} of the installer, free text of some length" for mark in range(8)],
    }  # fmt: skip


def _links(number: int) -> object:
    return {
        "far": {"wanted": "no", "house": "far.example.net", "up": "no", "token_set": "no", "tries": 0},
        "post": {
            "wanted": "yes", "house": "192.0.2.2", "door": 1883, "sealed": "no", "signed": "yes", "up": "yes",
            "name": f"pair-{number}", "every_s": 60, "queue": 0, "lost": number % 3,
        },
        "air": {
            "joins": "house-iot", "strength": -48 - number % 20, "channel": 1 + number % 13, "welcome": "no",
            "heard": [{"name": f"network {one}", "strength": -60 - one, "sealed": "yes"} for one in range(12)],
        },
        "seat": {"at": f"192.0.2.{1 + number % 254}", "given": "router", "out": "192.0.2.1", "names": "192.0.2.1"},
        "hours": {"from": "192.0.2.1", "place": "Europe/Lisbon", "apart_s": 0.02, "summer": "yes"},
        "door": {"locked": "yes", "bench": "no", "visitors": 0, "last": "2026-02-11T09:14:00Z"},
        "plans": [{"at": f"{hour:02d}:30", "days": "mtwtfss", "does": "nothing"} for hour in range(12)],
    }  # fmt: skip


def _lines(number: int, limit_c: int) -> object:
    return {
        "lines": [
            {
                "title": f"line {line}", "stands": "dark", "wakes": "dark", "rests_min": 0,
                "heat": {"watched": "yes", "trips": trips, "tripped": 0, "warmth": 41.5},
                "count": {"today": 4, "ever": 18_234 + number, "longest_s": 8_412},
            }
            for line, trips in ((1, limit_c), (2, LIMIT_C))
        ],
        "keys": [
            {"title": f"key {key}", "sort": "rocker", "does": "tells", "turned": "no", "settle_ms": 40, "presses": 811}
            for key in (1, 2)
        ],
        "gauges": [
            {
                "watts": 41.7 + number % 9, "volts": 231.4, "amps": 0.18,
                "hours": [round(0.31 * hour, 2) for hour in range(24)],
            }
            for gauge in (1, 2)
        ],
        "warmth": 43.25,
        "awake_min": 20_160 + number,
        "log": [{"at": 1_770_800_000 + entry, "said": f"line {entry % 2} was left as it stood"} for entry in range(12)],
    }  # fmt: skip


def _found(
    name: str, document: str, at: str, values: dict[str, Value] | None = None, scale: float | None = None
) -> SettingSource:
    return SettingSource(name=name, document=document, at=at, values=values or {}, scale=scale)


_SETTINGS = (
    _found("maker", "label", "made.by"),
    _found("model", "label", "made.as"),
    _found("serial", "label", "unit.number"),
    _found("mac", "label", "unit.ether"),
    _found("firmware.version", "label", "program.edition"),
    _found("firmware.updates", "label", "program.fetches", {"when told": "manual", "when out": "automatic"}),
    _found("cloud.enabled", "links", "far.wanted", _YES_NO),
    _found("mqtt.enabled", "links", "post.wanted", _YES_NO),
    _found("mqtt.host", "links", "post.house"),
    _found("mqtt.port", "links", "post.door"),
    _found("mqtt.authenticated", "links", "post.signed", _YES_NO),
    _found("net.address", "links", "seat.at"),
    _found("net.address_source", "links", "seat.given", {"router": "dhcp", "hand": "static"}),
    _found("net.gateway", "links", "seat.out"),
    _found("net.ssid", "links", "air.joins"),
    _found("net.rssi_dbm", "links", "air.strength"),
    _found("net.setup_ap_open", "links", "air.welcome", _YES_NO),
    _found("time.server", "links", "hours.from"),
    _found("time.zone", "links", "hours.place"),
    _found("access.password_set", "links", "door.locked", _YES_NO),
    _found("health.temperature_c", "lines", "warmth"),
    _found("health.uptime_s", "lines", "awake_min", scale=60),
    _found("output.*.on", "lines", "lines[{index}].stands", {"lit": True, "dark": False}),
    _found("output.*.at_power_up", "lines", "lines[{index}].wakes", {"dark": "off", "lit": "on"}),
    _found("output.*.over_temperature.enabled", "lines", "lines[{index}].heat.watched", _YES_NO),
    _found("output.*.over_temperature.limit_c", "lines", "lines[{index}].heat.trips"),
    _found("input.*.contact", "lines", "keys[{index}].sort", {"rocker": "maintained", "push": "momentary"}),
    _found("input.*.action", "lines", "keys[{index}].does", {"tells": "reports", "mirrors": "copies"}),
    _found("input.*.inverted", "lines", "keys[{index}].turned", _YES_NO),
    _found("meter.*.power_w", "lines", "gauges[{index}].watts"),
    _found("meter.*.voltage_v", "lines", "gauges[{index}].volts"),
)
