"""Settings out of documents, as a profile says. Pure.

What belongs here: JMESPath, value tables, unit conversion, the check against the vocabulary. What does not: how a
document was fetched.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from pattress.model.profile import (
    CHANNEL_GROUPS,
    ClockForm,
    Document,
    HttpGet,
    JsonRpc,
    MqttAsk,
    MqttRetained,
    Profile,
    SettingSource,
)
from pattress.model.reading import ReadError, Reported
from pattress.model.vocabulary import (
    SettingDefinition,
    Value,
    ValueMismatchError,
    checked_value,
    definition_of,
)
from pattress.reading.clock import Exchange, measured_offset_s, reported_time_s
from pattress.wire.search import SearchError, search


@dataclass(frozen=True, slots=True)
class _Place:
    """One concrete setting, ready to be found."""

    name: str
    definition: SettingDefinition
    source: SettingSource
    at: str
    origin: str
    table: Mapping[str, Reported]


class Extractor:
    """The settings of one kind of device, compiled once."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self._by_document: dict[str, list[_Place]] = {document.id: [] for document in profile.documents}
        self._constants: dict[str, Reported] = {}
        for source in profile.settings:
            for name, channel in _concrete(source.name, profile):
                self._add(name, channel, source)

    def constants(self) -> dict[str, Reported]:
        """Return what holds for the kind by its construction."""
        return dict(self._constants)

    def names_in(self, document: str) -> list[str]:
        """Return the settings that are found in a document."""
        return [place.name for place in self._by_document[document]]

    def extract(
        self, document: str, content: object, exchange: Exchange | None = None
    ) -> tuple[dict[str, Reported], list[ReadError]]:
        """Return the settings found in one document, and an error for each that does not fit its type.

        A path that leads nowhere, or to null, is a setting that was not reported: neither a value nor an error.
        `exchange` says when the document was asked for and came; without it no clock can be measured.
        """
        values: dict[str, Reported] = {}
        errors: list[ReadError] = []
        for place in self._by_document[document]:
            try:
                raw = search(place.at, content)
                if raw is not None:
                    values[place.name] = _reported(raw, place, exchange)
            except (ValueMismatchError, SearchError) as error:
                errors.append(ReadError(subject=place.name, reason=f"{error} ({place.origin})"))
        return values, errors

    def alive(self, content: object) -> object:
        """Return the kind's sign of life in the content of its document; None where it is not there."""
        try:
            return search(self.profile.alive.at, content) if self.profile.alive is not None else None
        except SearchError:
            return None

    def _add(self, name: str, channel: int, source: SettingSource) -> None:
        definition = definition_of(name)
        if definition is None:
            raise ValueError(f"{name} is not in the vocabulary")
        if source.document is None or source.at is None:
            if source.always is not None:
                self._constants[name] = Reported(value=source.always, origin=f"data sheet of {self.profile.id}")
            return
        at = source.at.replace("{channel}", str(channel)).replace("{index}", str(channel - 1))
        document = next(one for one in self.profile.documents if one.id == source.document)
        origin = f"{request_words(document)}, {at}"
        table = {word: Reported(value=value, origin=origin) for word, value in source.values.items()}
        self._by_document[source.document].append(_Place(name, definition, source, at, origin, table))


def request_words(document: Document) -> str:
    """Return in words where a document comes from."""
    match document.request:
        case HttpGet(path=path):
            return f"GET {path}"
        case JsonRpc(path=path, method=method):
            return f"call {method} at {path}"
        case MqttAsk(answer=answer):
            return f"answer on {answer}"
        case MqttRetained(filter=topics):
            return f"retained {topics}"


def nested(topics: Mapping[str, object]) -> dict[str, object]:
    """Return topics below a prefix as one object nested by level; what stands on a level itself is at key ""."""
    result: dict[str, object] = {}
    levels = {id(result)}  # an object that a topic holds is content, and stays whole: it is no level
    for topic in sorted(topics):
        here = result
        *path, last = topic.split("/")
        for level in path:
            below = here.get(level)
            if not isinstance(below, dict) or id(below) not in levels:
                below = {} if level not in here else {"": below}
                here[level] = below
                levels.add(id(below))
            here = below
        here[last] = topics[topic]
    return result


def _concrete(name: str, profile: Profile) -> list[tuple[str, int]]:
    if ".*." not in name:
        return [(name, 1)]
    group = name.split(".", 1)[0]
    count = profile.channels.get(group, 0) if group in CHANNEL_GROUPS else 0
    return [(name.replace("*", str(channel), 1), channel) for channel in range(1, count + 1)]


def _reported(raw: object, place: _Place, exchange: Exchange | None) -> Reported:
    if place.source.clock is not None:
        return Reported(value=_clock_offset_s(raw, place.source, place.source.clock, exchange), origin=place.origin)
    if not place.table:
        value = checked_value(place.definition, _converted(raw, place.source, place.definition))
        return Reported(value=value, origin=place.origin)
    key = ("true" if raw else "false") if isinstance(raw, bool) else str(raw)
    # The profile's loader has checked the values of tables: they are legal, and the same for every device.
    reported = place.table.get(key)
    if reported is None:
        raise ValueMismatchError(raw, "one of " + ", ".join(place.table))
    return reported


def _clock_offset_s(raw: object, source: SettingSource, form: ClockForm, exchange: Exchange | None) -> float:
    if source.is_text and form == "unix" and isinstance(raw, str) and _NUMBER.fullmatch(raw.strip()):
        raw = float(raw)
    return measured_offset_s(reported_time_s(raw, form, source.scale), exchange)


def _converted(raw: object, source: SettingSource, definition: SettingDefinition) -> object:
    if source.is_text:
        raw = _from_text(raw, definition)
    if (source.scale is not None or source.offset is not None) and _is_number(raw):
        return _rounded(float(raw) * (source.scale or 1.0) + (source.offset or 0.0), definition)  # type: ignore[arg-type]
    return raw


def _is_number(raw: object) -> bool:
    return isinstance(raw, int | float) and not isinstance(raw, bool)


def _rounded(number: float, definition: SettingDefinition) -> Value:
    """Return a converted number without the dust of binary fractions: 215 x 0.1 is 21.5."""
    clean = round(number, 9)
    return int(clean) if definition.type == "integer" and clean.is_integer() else clean


def _from_text(raw: object, definition: SettingDefinition) -> object:
    if not isinstance(raw, str):
        return raw
    text = raw.strip()
    match definition.type:
        case "boolean" if text in ("true", "false"):
            return text == "true"
        case "integer" if _INTEGER.fullmatch(text):
            return int(text)
        case "number" if _NUMBER.fullmatch(text):
            return float(text)
        case "text":
            return text
        case _:
            raise ValueMismatchError(raw, f"text that holds {definition.expectation}")


_INTEGER = re.compile(r"[+-]?[0-9]{1,18}")
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,18}(?:\.[0-9]{0,18})?|\.[0-9]{1,18})(?:[eE][+-]?[0-9]{1,3})?")
