"""The setting vocabulary: one set of names for every maker, with type, unit, range and meaning.

A name that a person writes or a device profile fills must be defined here. `N` in a defined name stands for a
channel, counted from 1. What belongs here: definitions, look-up of names, and the check of one value against its
definition. What does not: where a maker keeps the value (that is a device profile).
"""

import difflib
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal

from pattress.model.addresses import normal_address, normal_mac
from pattress.model.article import with_article

Value = bool | int | float | str
"""What a setting can hold."""

ValueType = Literal["boolean", "integer", "number", "text"]
Nature = Literal["setting", "measurement"]
Form = Literal["IP address", "hardware address"]

MAX_TEXT_LENGTH = (
    512  # longest is a host name (253, RFC 1035) or a URL of a time server; the rest is a stranger's noise
)
MAX_CHANNELS = 64  # the largest modules behind a plate have 4 channels; 64 leaves room for panels


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingDefinition:
    """What a name of the vocabulary means.

    `nature` tells a setting (stays until someone changes it; drift is about these) from a measurement (changes by
    itself). `minimum` and `maximum` are inclusive and in `unit`.
    """

    name: str
    type: ValueType
    nature: Nature
    meaning: str
    unit: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()
    form: Form | None = None

    @property
    def group(self) -> str:
        """The first word of the name: `output`, `net`, ..."""
        return self.name.split(".", 1)[0]

    @property
    def section(self) -> str:
        """The heading under which people look for it: the group, or `identity` for what says who a module is."""
        return "identity" if self.group in ("maker", "model", "serial", "mac", "firmware") else self.group

    @property
    def is_per_channel(self) -> bool:
        """Whether the name repeats for each channel of a device."""
        return ".N" in self.name

    @property
    def expectation(self) -> str:
        """What a value must be, in words."""
        if self.choices:
            return "one of " + ", ".join(self.choices)
        unit = f" {self.unit}" if self.unit else ""
        if self.minimum is not None and self.maximum is not None:
            return f"{_article(self.type)} from {self.minimum:g} to {self.maximum:g}{unit}"
        if self.minimum is not None:
            return f"{_article(self.type)} of at least {self.minimum:g}{unit}"
        if self.form is not None:
            return with_article(self.form)
        if self.type == "boolean":
            return "true or false"
        return _article(self.type)


class ValueMismatchError(ValueError):
    """A value does not fit the definition of its name. The message says found and expected."""

    def __init__(self, found: object, expected: str) -> None:
        super().__init__(f"found {describe(found)}, expected {expected}")
        self.found = found
        self.expected = expected


def definition_of(name: str) -> SettingDefinition | None:
    """Return the definition of a concrete name such as `output.2.on`, of a pattern `output.*.on`, or None."""
    return _BY_NAME.get(generic_name(name))


@lru_cache(maxsize=4096)  # 60 definitions of up to 64 channels each
def generic_name(name: str) -> str:
    """Return the defined form of a name: the channel number or `*` becomes `N`."""
    return _CHANNEL.sub(".N", name, count=1)


def channel_of(name: str) -> int | None:
    """Return the channel number in a concrete name, None where it has none."""
    found = _CHANNEL.search(name)
    return int(found[1]) if found and found[1] != "*" else None


def nearest_name(name: str) -> str | None:
    """Return the defined name most like an unknown one, with its channel put back, or None."""
    close = difflib.get_close_matches(generic_name(name), _BY_NAME, n=1, cutoff=0.6)
    if not close:
        return None
    found = _CHANNEL.search(name)
    return close[0].replace(".N", f".{found[1]}" if found else ".1", 1)


def definitions() -> Iterator[SettingDefinition]:
    """Yield every definition, in the order of the reference page."""
    yield from _DEFINITIONS


def checked_value(definition: SettingDefinition, value: object) -> Value:
    """Return `value` as the definition's own type, or raise.

    A whole number is accepted where a number belongs; nothing else is converted. Text "1883" where a number belongs
    is an error, never a guess.

    Raises:
        ValueMismatchError: If the value does not fit type, range or choices.
    """
    checked = _CHECKS[definition.type](definition, value)
    if definition.minimum is not None and not isinstance(checked, str) and checked < definition.minimum:
        raise ValueMismatchError(value, definition.expectation)
    if definition.maximum is not None and not isinstance(checked, str) and checked > definition.maximum:
        raise ValueMismatchError(value, definition.expectation)
    return checked


def describe(value: object) -> str:
    """Say a value so that its type shows: text in quotes, the rest as the files write it."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:.6g}" if isinstance(value, float) else str(value)
    if isinstance(value, str):
        shown = value if len(value) <= 80 else value[:77] + "..."
        return f'text "{shown}"'
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return type(value).__name__


_CHANNEL = re.compile(r"(?<=[a-z])\.(\*|[1-9][0-9]?)(?=\.)")


def _article(noun: str) -> str:
    known = {"integer": "a whole number", "number": "a number", "text": "text", "boolean": "true or false"}
    return known[noun]


def _check_boolean(definition: SettingDefinition, value: object) -> Value:
    if isinstance(value, bool):
        return value
    raise ValueMismatchError(value, definition.expectation)


def _check_integer(definition: SettingDefinition, value: object) -> Value:
    if isinstance(value, int) and not isinstance(value, bool) and -(2**63) <= value < 2**63:
        return value
    raise ValueMismatchError(value, definition.expectation)


def _check_number(definition: SettingDefinition, value: object) -> Value:
    if isinstance(value, float) and math.isfinite(value):
        return value
    if isinstance(value, int) and not isinstance(value, bool) and -(2**63) <= value < 2**63:
        return value
    raise ValueMismatchError(value, definition.expectation)


def _check_text(definition: SettingDefinition, value: object) -> Value:
    if not isinstance(value, str):
        raise ValueMismatchError(value, definition.expectation)
    if definition.choices and value not in definition.choices:
        raise ValueMismatchError(value, definition.expectation)
    if len(value) > MAX_TEXT_LENGTH:
        raise ValueMismatchError(value, f"text of at most {MAX_TEXT_LENGTH} characters")
    if definition.form is not None:
        normal = (normal_address if definition.form == "IP address" else normal_mac)(value)
        if normal is None:
            raise ValueMismatchError(value, definition.expectation)
        return normal
    # A lone surrogate can be in JSON but in no file, database or page: it is shown, not kept.
    return value if value.isascii() else value.encode("utf-8", "replace").decode("utf-8")


_CHECKS = {"boolean": _check_boolean, "integer": _check_integer, "number": _check_number, "text": _check_text}


def _setting(name: str, type: ValueType, meaning: str, **more: object) -> SettingDefinition:
    return SettingDefinition(name=name, type=type, nature="setting", meaning=meaning, **more)  # type: ignore[arg-type]


def _measurement(name: str, type: ValueType, meaning: str, **more: object) -> SettingDefinition:
    return SettingDefinition(name=name, type=type, nature="measurement", meaning=meaning, **more)  # type: ignore[arg-type]


_DEFINITIONS: tuple[SettingDefinition, ...] = (
    _setting("maker", "text", "Who makes the module, as it reports itself."),
    _setting("model", "text", "The maker's name for this kind of module, as it reports itself."),
    _setting("serial", "text", "The maker's serial number of this one module."),
    _setting("mac", "text", "Hardware address.", form="hardware address"),
    _setting("firmware.version", "text", "Version of the firmware that runs."),
    _setting("firmware.updates", "text", "Who starts an update.", choices=("manual", "automatic")),
    _setting("cloud.enabled", "boolean", "The maker's remote service is allowed."),
    _measurement("cloud.connected", "boolean", "The module is connected to the maker's remote service now."),
    _setting("cloud.host", "text", "Host name or address of the maker's remote service."),
    _setting("mqtt.enabled", "boolean", "The module speaks to an MQTT broker."),
    _setting("mqtt.host", "text", "Host name or address of that broker."),
    _setting("mqtt.port", "integer", "TCP port of that broker.", minimum=1, maximum=65535),
    _setting("mqtt.tls", "boolean", "The connection to the broker is encrypted with TLS."),
    _setting("mqtt.authenticated", "boolean", "The module shows the broker a user name and password or a certificate."),
    _measurement("mqtt.connected", "boolean", "The module is connected to its broker now."),
    _measurement("net.address", "text", "The module's own IP address now.", form="IP address"),
    _setting("net.address_source", "text", "Where that address comes from.", choices=("dhcp", "static")),
    _setting("net.gateway", "text", "Router that the module sends to for other networks.", form="IP address"),
    _setting("net.dns", "text", "Resolver that the module asks for names.", form="IP address"),
    _setting("net.ssid", "text", "Name of the Wi-Fi network it is set to join."),
    _measurement("net.rssi_dbm", "number", "Received signal strength.", unit="dBm", minimum=-120, maximum=0),
    _setting("net.setup_ap_open", "boolean", "The module's own set-up access point is on and needs no password."),
    _setting("time.server", "text", "Host name or address of the time server (SNTP)."),
    _measurement("time.offset_s", "number", "Module's clock minus this host's clock.", unit="s"),
    _setting("time.zone", "text", "Time zone by its IANA name."),
    _setting("access.password_set", "boolean", "A password is needed to change settings."),
    _setting("access.tls", "boolean", "The module's own pages and interfaces are served over TLS."),
    _setting("access.remote_debug", "boolean", "A debug interface can be reached over the network."),
    _measurement("output.N.on", "boolean", "The output is on now."),
    _setting("output.N.contact", "text", "What the contact carries.", choices=("live", "potential-free")),
    _setting(
        "output.N.at_power_up", "text", "State after a power cut.", choices=("off", "on", "as-before", "as-input")
    ),
    _setting("output.N.off_after_s", "number", "Switches itself off after this time; 0 is never.", unit="s", minimum=0),
    _setting("output.N.over_temperature.enabled", "boolean", "Sheds its load when the module is too hot."),
    _setting(
        "output.N.over_temperature.limit_c",
        "number",
        "Temperature at which it sheds the load.",
        unit="Cel",
        minimum=-40,
        maximum=200,
    ),
    _setting(
        "output.N.over_power.limit_w",
        "number",
        "Power at which it sheds the load; 0 is never.",
        unit="W",
        minimum=0,
        maximum=100000,
    ),
    _setting(
        "output.N.over_current.limit_a",
        "number",
        "Current at which it sheds the load; 0 is never.",
        unit="A",
        minimum=0,
        maximum=1000,
    ),
    _setting("input.N.contact", "text", "The wall switch that is wired here.", choices=("maintained", "momentary")),
    _setting(
        "input.N.action",
        "text",
        "What the input does to its output.",
        choices=("copies", "alternates", "impulse", "reports"),
    ),
    _setting("input.N.inverted", "boolean", "An open contact counts as on."),
    _measurement("input.N.closed", "boolean", "The contact is closed now."),
    _measurement("meter.N.power_w", "number", "Active power now; negative is fed back.", unit="W"),
    _measurement("meter.N.voltage_v", "number", "Voltage now.", unit="V", minimum=0, maximum=1000),
    _measurement("meter.N.current_a", "number", "Current now.", unit="A", minimum=0, maximum=1000),
    _measurement("meter.N.power_factor", "number", "Active power by apparent power.", unit="1", minimum=-1, maximum=1),
    _measurement("meter.N.energy_wh", "number", "Energy since it began to count.", unit="W.h", minimum=0),
    _measurement("dimmer.N.level_pct", "number", "Level now.", unit="%", minimum=0, maximum=100),
    _setting("dimmer.N.min_level_pct", "number", "Lowest level it goes to while on.", unit="%", minimum=0, maximum=100),
    _setting("dimmer.N.edge", "text", "Which edge of the mains half-wave is cut.", choices=("leading", "trailing")),
    _measurement("led.N.level_pct", "number", "PWM level of the channel now.", unit="%", minimum=0, maximum=100),
    _measurement("led.supply_v", "number", "Supply voltage of the strip as measured.", unit="V", minimum=0, maximum=60),
    _measurement(
        "shutter.position_pct", "number", "Position now: 0 is closed, 100 is open.", unit="%", minimum=0, maximum=100
    ),
    _setting("shutter.calibrated", "boolean", "It has learned its end positions."),
    _setting(
        "shutter.max_run_s", "number", "Longest time the motor runs in one go.", unit="s", minimum=0, maximum=3600
    ),
    _setting("shutter.stops_on_obstacle", "boolean", "It stops when the motor's load jumps."),
    _measurement(
        "health.temperature_c", "number", "Temperature inside the module.", unit="Cel", minimum=-55, maximum=200
    ),
    _measurement("health.uptime_s", "number", "Time since its last start.", unit="s", minimum=0),
    _measurement("health.restarts", "integer", "Restarts counted by the module.", unit="1", minimum=0),
    _measurement("health.free_memory_bytes", "integer", "Free working memory.", unit="By", minimum=0),
)
_BY_NAME = {definition.name: definition for definition in _DEFINITIONS}


@cache
def sections() -> tuple[str, ...]:
    """Return the sections of the vocabulary in the order of the reference page."""
    return tuple(dict.fromkeys(definition.section for definition in _DEFINITIONS))


@cache
def groups() -> tuple[str, ...]:
    """Return the first words of all names, in the order of the reference page."""
    return tuple(dict.fromkeys(definition.group for definition in _DEFINITIONS))
