"""The operands of comparisons as a person writes them: which each comparison takes for which setting.

What belongs here: one check for each comparison of the closed set. What does not: which comparison stands where
(`requirements`), and comparing itself (`policy`).
"""

from collections.abc import Callable, Mapping
from typing import Any

from pattress.model.rules import Comparison, Operand
from pattress.model.vocabulary import SettingDefinition
from pattress.policy.versions import version_key
from pattress.site.names import nearest
from pattress.site.patterns import pattern_fault
from pattress.site.setting_names import legal_value
from pattress.site.shapes import Mismatch, network_of
from pattress.site.words import said


def operand_of(comparison: Comparison, definition: SettingDefinition, value: object) -> Operand:
    """Return what a person wrote for a comparison as its operand.

    Raises:
        Mismatch: If the comparison does not take it, or does not fit the setting.
    """
    return _OPERANDS[comparison](definition, value)


def check_fits(comparison: Comparison, definition: SettingDefinition) -> None:
    """Check that a comparison whose operand comes from elsewhere makes sense for a setting.

    Raises:
        Mismatch: If it does not.
    """
    if comparison in ("at_least", "at_most", "between", "near"):
        _needs_number(definition)
    if comparison == "version_at_least":
        _needs_version(definition)


def _equal(definition: SettingDefinition, value: object) -> Operand:
    if isinstance(value, list):
        raise Mismatch(f"{definition.expectation}, or a comparison such as {{ one_of = [...] }}")
    return legal_value(definition, value)


def _one_of(definition: SettingDefinition, value: object) -> Operand:
    if not isinstance(value, list) or not value:
        raise Mismatch(f"a list, each element {definition.expectation}")
    return tuple(_element(definition, element) for element in value)


def _element(definition: SettingDefinition, element: object) -> Any:
    try:
        return legal_value(definition, element)
    except Mismatch as error:
        raise Mismatch(
            f"a list, each element {error.expected}", found=f"a list with {said(element)}", nearest=error.nearest
        ) from None


def _limit(definition: SettingDefinition, value: object) -> Operand:
    _needs_number(definition)
    return legal_value(definition, value)


def _between(definition: SettingDefinition, value: object) -> Operand:
    _needs_number(definition)
    if not isinstance(value, list) or len(value) != 2:
        raise Mismatch("a range [low, high]")
    low, high = (_element(definition, element) for element in value)
    if low > high:
        raise Mismatch("a range [low, high] with the lower number first", found=f"[{said(low)}, {said(high)}]")
    return (low, high)


def _near(definition: SettingDefinition, value: object) -> Operand:
    _needs_number(definition)
    if isinstance(value, list) and value:
        return tuple(_element(definition, element) for element in value)
    if isinstance(value, list):
        raise Mismatch("a number, or a list of numbers of which one must be near")
    return (legal_value(definition, value),)


def _matches(definition: SettingDefinition, value: object) -> Operand:
    _needs_text(definition)
    if not isinstance(value, str):
        raise Mismatch("a regular expression as text")
    reason = pattern_fault(value)
    if reason is not None:
        raise Mismatch(f"a regular expression ({reason})")
    return value


def _version(definition: SettingDefinition, value: object) -> Operand:
    _needs_version(definition)
    if not isinstance(value, str) or version_key(value) is None:
        raise Mismatch('a version as text, such as "2.1.0"')
    return legal_value(definition, value)


def _network(definition: SettingDefinition, value: object) -> Operand:
    _needs_place(definition)
    named = ("devices", "inside")
    if not isinstance(value, str):
        raise Mismatch("devices, inside, or a network such as 192.0.2.0/24")
    if value in named:
        return value
    try:
        return str(network_of(value))
    except Mismatch as error:
        close = error.nearest or nearest(value, named)
        raise Mismatch("devices, inside, or a network such as 192.0.2.0/24", nearest=close) from None


def _present(_: SettingDefinition, value: object) -> Operand:
    if value is not True:
        raise Mismatch("true (the opposite is absent = true)")
    return True


def _absent(_: SettingDefinition, value: object) -> Operand:
    if value is not True:
        raise Mismatch("true (the opposite is present = true)")
    return True


def _needs_number(definition: SettingDefinition) -> None:
    _needs(definition, definition.type in ("integer", "number"), "numbers")


def _needs_text(definition: SettingDefinition) -> None:
    _needs(definition, definition.type == "text", "text")


def _needs_version(definition: SettingDefinition) -> None:
    _needs(definition, definition.type == "text" and not definition.choices and definition.form is None, "versions")


def _needs_place(definition: SettingDefinition) -> None:
    is_free = definition.type == "text" and not definition.choices
    _needs(definition, is_free and definition.form != "hardware address", "addresses")


def _needs(definition: SettingDefinition, is_met: bool, operands: str) -> None:
    if not is_met:
        expected = f"one that fits {definition.name.replace('.N.', '.*.')}, which is {definition.expectation}"
        raise Mismatch(expected, found=f"a comparison of {operands}")


_OPERANDS: Mapping[Comparison, Callable[[SettingDefinition, object], Operand]] = {
    "equal": _equal,
    "one_of": _one_of,
    "at_least": _limit,
    "at_most": _limit,
    "between": _between,
    "near": _near,
    "matches": _matches,
    "version_at_least": _version,
    "in_network": _network,
    "present": _present,
    "absent": _absent,
}
