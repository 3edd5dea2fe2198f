"""The shapes of the tables of a profile file.

What belongs here: what each table may hold, key by key. What does not: how keys must fit one another
(`profile_file`, `profile_settings`).
"""

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

import jmespath
from jmespath.exceptions import JMESPathError
from jmespath.functions import Functions
from pydantic import AfterValidator, Field, PlainValidator

from pattress.model.profile import ClockForm, Decoding, ModuleClass
from pattress.site.names import nearest
from pattress.site.shapes import Identifier, Mismatch, Scalar, Shape, Table, Text
from pattress.wire.topics import filter_fault, topic_fault

IDENTITIES = ("serial", "mac", "name")
"""What a topic may hold in braces as a whole level."""
MAX_EXPRESSION_LENGTH = 500


def checked_expression(value: str, *, has_channel: bool = False) -> str:
    """Return a JMESPath expression that compiles and calls only functions there are.

    With `has_channel` it may hold `{channel}` and `{index}`, as the expression of a setting that has a channel does.

    Raises:
        Mismatch: With what is wrong with it.
    """
    filled = value.replace("{channel}", "1").replace("{index}", "0")
    if filled != value and not has_channel:
        raise Mismatch("a JMESPath expression; {channel} and {index} belong to settings that have a channel")
    if len(value) > MAX_EXPRESSION_LENGTH:
        raise Mismatch(f"a JMESPath expression of at most {MAX_EXPRESSION_LENGTH} characters")
    try:
        unknown = sorted(_called(jmespath.compile(filled).parsed) - set(Functions.FUNCTION_TABLE))
    except (JMESPathError, RecursionError):
        raise Mismatch("a JMESPath expression") from None
    if unknown:
        close = nearest(unknown[0], Functions.FUNCTION_TABLE)
        raise Mismatch(f"a JMESPath expression; there is no function {unknown[0]}", nearest=close)
    return value


def _called(node: object) -> set[str]:
    """The names of the functions that a parsed expression calls."""
    if not isinstance(node, dict):
        return set()
    names = {str(node["value"])} if node["type"] == "function_expression" else set()
    return names.union(*(_called(child) for child in node.get("children", ())))


def _params(value: object) -> dict[str, Any] | list[Any]:
    if isinstance(value, dict | list):  # JSON-RPC 2.0 section 4.2: by name or by position
        return value
    raise Mismatch("a table or a list")


def _service_type(value: str) -> str:
    # RFC 6335 section 5.1 and RFC 6763 section 7: up to 15 letters, digits and hyphens, one letter at least.
    if not re.fullmatch(r"_(?=[0-9-]*[A-Za-z])[A-Za-z0-9](?:[A-Za-z0-9-]{0,13}[A-Za-z0-9])?\._(?:tcp|udp)", value):
        raise Mismatch("a service type such as _name._tcp or _name._udp")
    return value


def _path(value: str) -> str:
    if not re.fullmatch(r"/(?!/)[!-\"$-~]*", value):
        raise Mismatch("a path that begins with one slash, in ASCII, without spaces and '#'")
    return value


def _header_name(value: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9!#$%&'*+.^_`|~-]+", value):  # a token: RFC 9110 section 5.6.2
        raise Mismatch("the name of a header, without spaces and colons")
    return value


def _topic(value: str) -> str:
    return _filled_topic(value, topic_fault)


def _retained_filter(value: str) -> str:
    if not value.endswith("/#") or "+" in value:
        raise Mismatch("a topic filter that ends in /# and holds no '+'")
    return _filled_topic(value, filter_fault)


def _filled_topic(value: str, fault: Callable[[str], str | None]) -> str:
    """Check a topic as it is once an identity stands in each of its braces."""
    for level in value.split("/"):
        if ("{" in level or "}" in level) and level not in _PLACEHOLDERS:
            raise Mismatch("{serial}, {mac} or {name} as a whole level", nearest=nearest(level, _PLACEHOLDERS))
    reason = fault(re.sub(r"\{\w+\}", "x", value))
    if reason is not None:
        raise Mismatch(f"a topic ({reason})")
    return value


_PLACEHOLDERS = tuple(f"{{{name}}}" for name in IDENTITIES)

Expression = Annotated[str, AfterValidator(checked_expression)]
Topic = Annotated[str, AfterValidator(_topic)]
UrlPath = Annotated[str, AfterValidator(_path)]


class ProfileShape(Shape):
    """The top of a profile file."""

    id: Identifier = Field(description="an id that no other profile has, such as brand-model")
    maker: Text = Field(description="the maker's name as text")
    model: Text = Field(description="the maker's name for this kind as text")
    module_class: ModuleClass = Field(alias="class", description="a class of modules, such as metered-relay")
    lacks: list[str] = Field(default=[], description="a list of groups and setting names")
    channels: Table = Field(default={}, description="a table of channel counts")
    recognise: Table = Field(default={}, description="[[recognise.mdns]] and [[recognise.mqtt]] tables")
    access: Table = Field(default={}, description="a table")
    document: list[Table] = Field(default=[], description="[[document]] tables")
    settings: Table = Field(description="a [settings] table that says where each setting is found")
    alive: Table | None = Field(default=None, description="a table with in, at and equals")
    data_sheet: Table = Field(default={}, description="a table")


class RecogniseShape(Shape):
    """What may stand below `recognise`."""

    mdns: list[Table] = Field(default=[], description="[[recognise.mdns]] tables")
    mqtt: list[Table] = Field(default=[], description="[[recognise.mqtt]] tables")


class MdnsShape(Shape):
    """One `[[recognise.mdns]]` table."""

    service_type: Annotated[str, AfterValidator(_service_type)] = Field(
        description="a service type such as _name._tcp or _name._udp"
    )
    instance: Text | None = None
    txt: dict[str, str] = Field(default={}, description="a table of TXT keys and patterns")
    mac: Text | None = None
    serial: Text | None = None


class MqttShape(Shape):
    """One `[[recognise.mqtt]]` table."""

    topic: Topic = Field(description="a topic as text")
    where: dict[str, Scalar] = Field(default={}, description="a table of JMESPath expressions and values")
    mac: Expression | None = None
    serial: Expression | None = None
    address: Expression | None = None
    port: Expression | None = None


class AccessShape(Shape):
    """The `[access]` table."""

    scheme: Literal["http", "https"] = "http"
    port: Annotated[int, Field(ge=1, le=65535)] | None = Field(default=None, description="a port from 1 to 65535")
    credential: Literal["none", "basic", "digest", "bearer", "header"] = "none"
    header: Annotated[str, AfterValidator(_header_name)] | None = None


class DocumentShape(Shape):
    """One `[[document]]` table."""

    id: Identifier = Field(description="an id that no other document of the profile has")
    get: UrlPath | None = None
    rpc: Table | None = Field(default=None, description="a table with path, method and perhaps params")
    ask: Table | None = Field(default=None, description="a table with topic, payload and answer")
    retained: Annotated[str, AfterValidator(_retained_filter)] | None = None
    is_open: bool = Field(default=False, alias="open")
    decode: Decoding = "json"


class RpcShape(Shape):
    """The `rpc` table of a document."""

    path: UrlPath = Field(description="the path that calls are sent to, such as /call")
    method: Text = Field(description="the name of a method that only reads")
    params: Annotated[dict[str, Any] | list[Any], PlainValidator(_params)] | None = None


class AskShape(Shape):
    """The `ask` table of a document."""

    topic: Topic = Field(description="the topic that the question is published on")
    payload: str = Field(description="the question as text")
    answer: Topic = Field(description="the topic that the answer comes on")


class SettingShape(Shape):
    """One entry of the `[settings]` table."""

    document: str | None = Field(default=None, alias="in")
    at: str | None = None
    values: dict[str, Scalar] | None = Field(default=None, description="a table that translates reported values")
    scale: float | None = None
    offset: float | None = None
    is_text: bool = Field(default=False, alias="text")
    always: Scalar | None = None
    clock: ClockForm | None = None


class AliveShape(Shape):
    """The `[alive]` table."""

    document: str = Field(alias="in", description="the id of a document")
    at: Expression = Field(description="a JMESPath expression")
    equals: Scalar = Field(description="the value while the device is connected")
