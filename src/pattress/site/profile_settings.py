"""The `[settings]` table of a profile file into `SettingSource`s.

What belongs here: whether each entry is whole and its values are legal for the setting it fills. What does not:
whether the profile as a whole makes sense (`profile_file`).
"""

from collections.abc import Mapping
from typing import Any

from pattress.model.article import with_article
from pattress.model.profile import SettingSource
from pattress.model.vocabulary import SettingDefinition, Value
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.profile_shapes import SettingShape, checked_expression
from pattress.site.setting_names import check_channel, checked_definition, legal_value
from pattress.site.shapes import Mismatch, keys_of
from pattress.site.words import said

IDENTITY_SETTINGS = ("mac", "serial")
CLOCK_SETTING = "time.offset_s"


def settings_of(file: TomlFile, *, channels: Mapping[str, int] | None, documents: Known) -> tuple[SettingSource, ...]:
    """Return the entries of `[settings]` that are right, in their order, after noting the faults of the others."""
    found = file.table("settings")
    if found is None:
        return ()
    path, entries = found
    if not set(entries) & set(IDENTITY_SETTINGS):
        expected = "an entry for mac or serial, so that a reading proves which device it is of"
        file.fault(path, found="neither mac nor serial", expected=expected)
    sources = [_source(file, (*path, name), name, entry, channels, documents) for name, entry in entries.items()]
    return tuple(source for source in sources if source is not None)


def check_document(file: TomlFile, path: KeyPath, name: str, documents: Known) -> None:
    """Note a fault where a profile has no document of this name."""
    if documents.lacks(name):
        close = documents.nearest(name)
        file.fault(path, found=said(name), expected="the id of a document", nearest=close)


def _source(
    file: TomlFile, path: KeyPath, name: str, entry: Any, channels: Mapping[str, int] | None, documents: Known
) -> SettingSource | None:
    before = len(file.faults)
    definition = checked_definition(file, path, name, entry, own_keys=keys_of(SettingShape))
    if definition is None:
        return None
    if channels is not None:
        check_channel(file, path, name, channels)
    shape = file.checked(SettingShape, path, entry)
    if shape is None:
        return None
    if shape.always is not None:
        _check_always(file, path, shape, definition)
    else:
        _check_found(file, path, shape, documents, has_channel=definition.is_per_channel)
    always = None if shape.always is None else _legal(file, (*path, "always"), definition, shape.always)
    values = {
        key: _legal(file, (*path, "values", key), definition, value) for key, value in (shape.values or {}).items()
    }
    _check_clock(file, path, name, shape)
    for key in ("scale", "offset"):
        if getattr(shape, key) is not None and definition.type not in ("integer", "number"):
            file.fault((*path, key), found=with_article(key), expected=f"none, for {name} is {_kind(definition)}")
    if len(file.faults) > before:
        return None
    return SettingSource(
        name=name,
        document=shape.document,
        at=shape.at,
        values={key: value for key, value in values.items() if value is not None},
        scale=shape.scale,
        offset=shape.offset,
        is_text=shape.is_text,
        always=always,
        clock=shape.clock,
    )


def _check_clock(file: TomlFile, path: KeyPath, name: str, shape: SettingShape) -> None:
    """`time.offset_s` is measured by the device's clock, and nothing else is."""
    if shape.clock is None:
        if name == CLOCK_SETTING and shape.always is None:
            expected = 'clock = "unix" or clock = "iso": it is measured by the time that the device reports'
            file.fault((*path, "clock"), found="nothing", expected=expected)
        return
    if name != CLOCK_SETTING:
        file.fault((*path, "clock"), found="a clock", expected=f"none, for only {CLOCK_SETTING} is measured by one")
    beside = {"unix": ("values", "offset"), "iso": ("values", "offset", "scale", "text")}[shape.clock]
    for key in beside:
        if key in _written_keys(shape):
            file.fault((*path, key), found=f"{key} beside clock", expected=f'no {key} beside clock = "{shape.clock}"')


def _check_always(file: TomlFile, path: KeyPath, shape: SettingShape, definition: SettingDefinition) -> None:
    others = [key for key in keys_of(SettingShape) if key in _written_keys(shape) and key != "always"]
    if others:
        expected = "nothing beside always, which says that the value is never read"
        file.fault((*path, others[0]), found=f"always and {others[0]}", expected=expected)
    if definition.name in IDENTITY_SETTINGS:
        # Every device of the kind would then prove to be the same one.
        expected = "a place where the device reports it, with in and at"
        file.fault((*path, "always"), found=f"{definition.name} by construction", expected=expected)


def _check_found(file: TomlFile, path: KeyPath, shape: SettingShape, documents: Known, *, has_channel: bool) -> None:
    if shape.document is None and shape.at is None:
        file.fault(path, found="neither in nor always", expected="in and at, or always")
        return
    if shape.document is None:
        file.fault((*path, "in"), found="nothing", expected="the id of a document")
    else:
        check_document(file, (*path, "in"), shape.document, documents)
    if shape.at is None:
        file.fault((*path, "at"), found="nothing", expected="a JMESPath expression")
        return
    try:
        checked_expression(shape.at, has_channel=has_channel)
    except Mismatch as error:
        file.mismatch((*path, "at"), shape.at, error)


def _legal(file: TomlFile, path: KeyPath, definition: SettingDefinition, value: Value) -> Value | None:
    try:
        return legal_value(definition, value)
    except Mismatch as error:
        file.mismatch(path, value, error)
    return None


def _written_keys(shape: SettingShape) -> set[str]:
    """The keys that a person wrote in an entry."""
    fields = type(shape).model_fields
    return {fields[name].alias or name for name in shape.model_fields_set}


def _kind(definition: SettingDefinition) -> str:
    return "text" if definition.type == "text" else "true or false"
