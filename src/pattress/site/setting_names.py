"""Settings as a person names them in a profile, a policy or a plan, and the values that they may be given.

What belongs here: whether a name is in the vocabulary, has the channel it needs, and takes a value. What does not:
where names and values stand in a kind of file.
"""

from collections.abc import Collection, Mapping
from typing import Any

from pattress.model.vocabulary import (
    MAX_CHANNELS,
    SettingDefinition,
    Value,
    ValueMismatchError,
    channel_of,
    checked_value,
    definition_of,
    nearest_name,
)
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import nearest
from pattress.site.shapes import Mismatch


def checked_definition(
    file: TomlFile, path: KeyPath, name: str, written: object, *, own_keys: Collection[str]
) -> SettingDefinition | None:
    """Return the definition of a setting that is named by one key in quotes, or None after noting the fault.

    `written` is what stands at the key, and `own_keys` are the keys that may stand there: a table with others comes
    from a dotted name without its quotes.
    """
    definition = known_definition(name)
    if definition is None:
        whole = _unquoted_name(name, written, own_keys)
        if whole is not None:
            expected = "the whole name of a setting in quotes"
            file.fault(path, found=f"the name {whole} without quotes", expected=expected, nearest=f'"{whole}"')
        else:
            file.fault(path, found="an unknown name", expected="the name of a setting", nearest=suggestion(name))
        return None
    if (channel_of(name) or 1) > MAX_CHANNELS:
        file.fault(path, found=f"channel {channel_of(name)}", expected=f"a channel from 1 to {MAX_CHANNELS}, or *")
        return None
    return definition


def known_definition(name: str) -> SettingDefinition | None:
    """Return the definition of a name, None also for the vocabulary's own notation with `N` for a channel."""
    return None if ".N." in name else definition_of(name)


def suggestion(name: str) -> str | None:
    """Return the setting name most like an unknown one, or None."""
    return nearest_name(name.replace(".N.", ".*.", 1)[:200])


def legal_value(definition: SettingDefinition, value: object) -> Value:
    """Return a value as its setting keeps it.

    Raises:
        Mismatch: With what the setting takes, and the nearest of its choices.
    """
    try:
        return checked_value(definition, value)
    except ValueMismatchError as error:
        raise Mismatch(error.expected, nearest=nearest(value, definition.choices)) from None


def check_channel(
    file: TomlFile, path: KeyPath, name: str, channels: Mapping[str, int], *, place: KeyPath | None = None
) -> bool:
    """Whether a kind with these channel counts has the channel that a name is for; notes the fault where not."""
    definition = known_definition(name)
    if definition is None or not definition.is_per_channel:
        return True
    group, channel = definition.group, channel_of(name)
    count = channels.get(group, 0)
    if count > 0 and (channel or 1) <= count:
        return True
    found = f"a setting of {group} channels" if channel is None else f"{group} channel {channel}"
    expected = f"a channel that the kind has: its profile counts {count or 'no'} {group}{'s' if count != 1 else ''}"
    file.fault(path, found=found, expected=expected, place=place)
    return False


def _unquoted_name(name: str, written: object, own_keys: Collection[str]) -> str | None:
    here: Any = written
    while isinstance(here, dict) and here and known_definition(name) is None:
        key = next(iter(here))
        if key in own_keys:
            return None
        name, here = f"{name}.{key}", here[key]
    return name if "." in name and known_definition(name) is not None else None
