"""What a maker decides: how its modules announce themselves, what they answer, and who may ask.

What belongs here: the shape of a maker, and what several makers share. What does not: one maker's own words.
"""

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from pattress.lab.house import LabModule, ModuleState
from pattress.model.vocabulary import Value

Documents = Mapping[str, object]
"""Documents by the ids that the profile of the kind gives them."""

GuardKind = Literal["basic", "digest-sha-256", "digest-md5", "bearer", "header"]
USER = "house"  # the user name where a maker's modules want one; what is secret is made anew for each house
RUBBISH = b'<html><body>{"updating": '


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question over HTTP, as far as a maker looks at it."""

    method: str
    path: str
    body: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Routed:
    """What a question leads to: one document, and how its JSON is wrapped."""

    document: str
    wrap: Callable[[object], object] = lambda document: document


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """An answer without a document."""

    status: int
    body: object


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpMaker:
    """A maker whose modules announce themselves by mDNS and answer over HTTP.

    `open_documents` are answered without credentials. `header` names the header of a `header` guard.
    """

    service_type: str
    instance: Callable[[LabModule], str]
    txt: Callable[[ModuleState], Mapping[str, str]]
    documents: Callable[[ModuleState], Documents]
    route: Callable[[Asked], Routed | Refused]
    open_documents: frozenset[str]
    guard: Callable[[str], GuardKind]
    header: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttMaker:
    """A maker whose modules announce themselves and are read over MQTT.

    `announcement` gives the topic and payload of the announcement, `retained` all other retained topics. A question
    on a topic that `ask_filter` matches is answered by `answer`: the topic, the document's id and the document.
    """

    announcement: Callable[[ModuleState], tuple[str, bytes]]
    retained: Callable[[ModuleState], Mapping[str, bytes]]
    ask_filter: str | None = None
    answer: Callable[[ModuleState, str, bytes], tuple[str, str, object] | None] = lambda state, topic, payload: None


def get_route(paths: Mapping[str, str]) -> Callable[[Asked], Routed | Refused]:
    """Return the route of a maker whose documents are at fixed paths, by GET only."""

    def route(asked: Asked) -> Routed | Refused:
        document = paths.get(asked.path)
        if document is None:
            return Refused(status=404, body={"fault": "no such page"})
        if asked.method != "GET":
            return Refused(status=405, body={"fault": "only read"})
        return Routed(document=document)

    return route


def said(table: Mapping[Value, Value], value: Value) -> Value:
    """Return a maker's word for a value; a value that it has no word for comes out as it is, as a fault would."""
    return table.get(value, value)


def share(value: Value, by: float) -> Value:
    """Return a number in a maker's unit, free of the noise of binary fractions; anything else as it is."""
    if isinstance(value, bool | str):
        return value
    converted = round(value * by, 6)
    return int(converted) if converted == int(converted) else converted


def time_s(truth: Mapping[str, Value]) -> float:
    """Return the time by a module's clock, in seconds since 1970."""
    return round(time.time() + float(truth["time.offset_s"]), 3)


def time_as_text(truth: Mapping[str, Value]) -> str:
    """Return the time by a module's clock as date and time in UTC, to the second, as a module writes it."""
    return datetime.fromtimestamp(time_s(truth), UTC).isoformat(timespec="seconds")


def encoded(document: object, *, is_rubbish: bool) -> bytes:
    """Return a document as the bytes of its JSON, or rubbish in its place."""
    return RUBBISH if is_rubbish else json.dumps(document, separators=(",", ":")).encode()
