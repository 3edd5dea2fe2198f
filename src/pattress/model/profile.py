"""Device profiles: how to recognise, read and understand a kind of device, as data."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from pattress.model.circuit import EdgeOfDimming, LoadKind
from pattress.model.vocabulary import Value

ModuleClass = Literal[
    "isolated-contact-relay", "metered-relay", "dual-relay", "shutter", "dimmer", "led-controller", "other"
]
CHANNEL_GROUPS = ("output", "input", "meter", "dimmer", "led")
"""Groups of the vocabulary that repeat per channel; `shutter` has no channel number."""

Decoding = Literal["json", "text"]
ClockForm = Literal["unix", "iso"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MdnsRecognition:
    """Recognised by a DNS-SD service. Patterns use `*` and `?`; keys of `txt` are compared without case.

    `mac_key` and `serial_key` name the TXT keys that hold the identity.
    """

    service_type: str
    instance: str | None = None
    txt: Mapping[str, str] = field(default_factory=dict)
    mac_key: str | None = None
    serial_key: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttRecognition:
    """Recognised by an MQTT announcement.

    `topic` may hold `{serial}`, `{mac}` or `{name}` as whole levels, which are taken from the topic. The other
    fields are JMESPath expressions on the payload, decoded as JSON; `where` says what each must equal.
    """

    topic: str
    where: Mapping[str, Value] = field(default_factory=dict)
    mac: str | None = None
    serial: str | None = None
    address: str | None = None
    port: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpGet:
    """One document over HTTP GET."""

    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JsonRpc:
    """The result of one JSON-RPC 2.0 call over HTTP POST. The method must be one that only reads."""

    path: str
    method: str
    params: Mapping[str, object] | Sequence[object] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttAsk:
    """One answer on `answer` after publishing `payload` on `ask`. The question must be one that only reads."""

    ask: str
    answer: str
    payload: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttRetained:
    """Retained topics below a filter ending in `/#`, as one document nested by topic level."""

    filter: str


Request = HttpGet | JsonRpc | MqttAsk | MqttRetained


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """One document of a device. An `is_open` one is asked for without credentials."""

    id: str
    request: Request
    is_open: bool = False
    decoding: Decoding = "json"


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingSource:
    """Where a setting is found: JMESPath `at` in document `document`, or `always` by the kind's construction.

    In `at`, `{channel}` counts from 1 and `{index}` from 0. A `values` table translates; `scale` and `offset` convert
    units (value x scale + offset); `is_text` allows numbers and booleans written as text. With `clock` the value is
    the time by the device's own clock, of which `time.offset_s` is measured: seconds since 1970 (`unix`) or date and
    time as text (`iso`).
    """

    name: str
    document: str | None = None
    at: str | None = None
    values: Mapping[str, Value] = field(default_factory=dict)
    scale: float | None = None
    offset: float | None = None
    is_text: bool = False
    always: Value | None = None
    clock: ClockForm | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AliveSign:
    """A value that says the device is connected now, such as the topic that its last will changes."""

    document: str
    at: str
    equals: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """How its HTTP interface is reached. `header` is the header's name where `credential` is `header`."""

    scheme: Literal["http", "https"] = "http"
    port: int | None = None
    credential: Literal["none", "basic", "digest", "bearer", "header"] = "none"
    header: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DataSheet:
    """What the maker's data sheet says of a kind. None, or empty, where it says nothing.

    `rated_current_a` and `rated_power_w` are of one output or LED channel, `total_current_a` of all of them together.
    `motor_current_a` is what one output may switch of a motor, and `load_w` what it may switch of other kinds of load,
    in watts. `minimum_load_w`, `dimmer_edges` and `maximum_lamps` are of one dimmer. `led_supply_v` lists the
    voltages that an LED controller takes and passes on. `module_cm3` is the room that the module takes in a box.
    """

    rated_current_a: float | None = None
    total_current_a: float | None = None
    rated_power_w: float | None = None
    motor_current_a: float | None = None
    load_w: Mapping[LoadKind, float] = field(default_factory=dict)
    minimum_load_w: float | None = None
    dimmer_edges: tuple[EdgeOfDimming, ...] = ()
    maximum_lamps: int | None = None
    supply_ac_v: tuple[float, float] | None = None
    supply_dc_v: tuple[float, float] | None = None
    led_supply_v: tuple[float, ...] = ()
    has_isolated_contact: bool | None = None
    needs_neutral: bool | None = None
    maximum_temperature_c: float | None = None
    module_cm3: float | None = None


RATED_FIELDS: Mapping[str, str] = {
    "rated_current_a": "A",
    "rated_power_w": "W",
    "minimum_load_w": "W",
    "supply_ac_v": "V",
    "supply_dc_v": "V",
    "maximum_temperature_c": "Cel",
}
"""The fields of a data sheet that a rule may compare with, and their units (UCUM)."""
RATED_RANGES = ("supply_ac_v", "supply_dc_v")
"""Those of them that are ranges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A kind of device. `channels` counts inputs, outputs, meters, dimmers, LED channels; `lacks` names the groups
    and settings that the kind has not by construction, so that no rule asks for them.
    """

    id: str
    maker: str
    model: str
    module_class: ModuleClass
    recognise_mdns: tuple[MdnsRecognition, ...] = ()
    recognise_mqtt: tuple[MqttRecognition, ...] = ()
    access: Access = field(default_factory=Access)
    documents: tuple[Document, ...] = ()
    settings: tuple[SettingSource, ...] = ()
    channels: Mapping[str, int] = field(default_factory=dict)
    lacks: tuple[str, ...] = ()
    alive: AliveSign | None = None
    data_sheet: DataSheet = field(default_factory=DataSheet)

    def has(self, capability: str) -> bool:
        """Whether the kind has a capability: a channel group, `shutter`, or any group that it reports."""
        if capability in CHANNEL_GROUPS:
            return self.channels.get(capability, 0) > 0
        return any(source.name.split(".", 1)[0] == capability for source in self.settings)

    @property
    def load_channels(self) -> tuple[str, ...]:
        """The channels that a load is wired to: `shutter`, or `dimmer.1`, `led.1`, `output.1` and on.

        The outputs of a dimmer, an LED controller and a shutter are the same terminals under another name.
        """
        if self.module_class == "shutter":
            return ("shutter",)
        groups = _LOAD_GROUPS.get(self.module_class, ("output",))
        return tuple(f"{group}.{number}" for group in groups for number in range(1, self.channels.get(group, 0) + 1))


_LOAD_GROUPS: Mapping[ModuleClass, tuple[str, ...]] = {
    "dimmer": ("dimmer",),
    "led-controller": ("led",),
    "other": ("output", "dimmer", "led"),
}
