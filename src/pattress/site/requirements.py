"""One entry of a rule's `require` table into a `Requirement`.

What belongs here: the closed set of comparisons as a person writes them, and which operands each takes for which
setting. What does not: comparing (`policy`).
"""

from collections.abc import Callable
from typing import Any, Literal, cast

from pattress.model.rules import COMPARISONS, PLANNED_COMPARISONS, Comparison, Operand, Requirement
from pattress.model.vocabulary import SettingDefinition
from pattress.policy.versions import version_key
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import nearest
from pattress.site.patterns import pattern_fault
from pattress.site.setting_names import checked_definition, legal_value
from pattress.site.shapes import Mismatch, choice, network_of
from pattress.site.words import said

UNPLANNED = ("unverified", "skip")

_KEYS = (*COMPARISONS, "plan", "unplanned")


def requirement_of(file: TomlFile, path: KeyPath, setting: str, written: object) -> Requirement | None:
    """Return what stands at a setting in `require` as a requirement, or None after noting its faults."""
    definition = checked_definition(file, path, setting, written, own_keys=_KEYS)
    if definition is None:
        return None
    if not isinstance(written, dict):
        try:
            return Requirement(setting=setting, comparison="equal", operand=_equal(definition, written))
        except Mismatch as error:
            file.mismatch(path, written, error)
            return None
    if not _has_one_comparison(file, path, written):
        return None
    if "plan" in written:
        return _planned(file, path, setting, definition, written)
    comparison = cast(Comparison, next(iter(written)))
    try:
        operand = _OPERANDS[comparison](definition, written[comparison])
    except Mismatch as error:
        file.mismatch((*path, comparison), written[comparison], error)
        return None
    return Requirement(setting=setting, comparison=comparison, operand=operand)


def _has_one_comparison(file: TomlFile, path: KeyPath, written: dict[str, Any]) -> bool:
    unknown = [key for key in written if key not in _KEYS]
    for key in unknown:
        expected = "one of " + ", ".join((*COMPARISONS, "plan"))
        file.fault((*path, key), found="an unknown comparison", expected=expected, nearest=nearest(key, _KEYS))
    if unknown:
        return False
    comparisons = [key for key in written if key != "unplanned"]
    if len(comparisons) != 1:
        found = " and ".join(comparisons) if comparisons else "no comparison"
        file.fault(path, found=found, expected="exactly one comparison")
    elif "unplanned" in written and "plan" not in written:
        file.fault((*path, "unplanned"), found=f"unplanned beside {comparisons[0]}", expected="unplanned beside plan")
    else:
        return True
    return False


def _planned(
    file: TomlFile, path: KeyPath, setting: str, definition: SettingDefinition, written: dict[str, Any]
) -> Requirement | None:
    before = len(file.faults)
    for key, check in (("plan", _planned_comparison), ("unplanned", _unplanned)):
        try:
            check(definition, written.get(key, "unverified"))
        except Mismatch as error:
            file.mismatch((*path, key), written[key], error)
    if len(file.faults) > before:
        return None
    unplanned = cast(Literal["unverified", "skip"], written.get("unplanned", "unverified"))
    return Requirement(setting=setting, comparison=written["plan"], is_planned=True, unplanned=unplanned)


def _planned_comparison(definition: SettingDefinition, value: object) -> None:
    if not isinstance(value, str):
        raise Mismatch("one of " + ", ".join(PLANNED_COMPARISONS))
    choice(value, PLANNED_COMPARISONS)
    if value in ("at_least", "at_most"):
        _needs_number(definition)
    if value == "version_at_least":
        _needs_version(definition)


def _unplanned(_: SettingDefinition, value: object) -> None:
    if not isinstance(value, str):
        raise Mismatch("one of " + ", ".join(UNPLANNED))
    choice(value, UNPLANNED)


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


_OPERANDS: dict[Comparison, Callable[[SettingDefinition, object], Operand]] = {
    "equal": _equal,
    "one_of": _one_of,
    "at_least": _limit,
    "at_most": _limit,
    "between": _between,
    "matches": _matches,
    "version_at_least": _version,
    "in_network": _network,
    "present": _present,
    "absent": _absent,
}
