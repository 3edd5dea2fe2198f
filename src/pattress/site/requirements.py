"""One entry of a rule's `require` table into a `Requirement`.

What belongs here: where the operand comes from (the rule itself, the plan, the data sheet), and which keys may stand
beside one another. What does not: which operands a comparison takes (`operands`), and comparing (`policy`).
"""

from typing import Any, Literal, cast

from pattress.model.profile import RATED_FIELDS, RATED_RANGES
from pattress.model.rules import (
    COMPARISONS,
    PLANNED_COMPARISONS,
    RATED_COMPARISONS,
    Comparison,
    Operand,
    Requirement,
    Silence,
)
from pattress.model.vocabulary import SettingDefinition
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import nearest
from pattress.site.operands import check_fits, operand_of
from pattress.site.setting_names import checked_definition
from pattress.site.shapes import Mismatch, choice

SILENCES: tuple[Silence, ...] = ("unverified", "skip")

_ONE_OF = (*COMPARISONS, "plan", "data_sheet")
_BESIDE = {"unplanned": ("plan",), "field": ("data_sheet",), "unrated": ("data_sheet",), "within_pct": ("near", "plan")}
"""What may only stand beside something else, and beside what."""
_KEYS = (*_ONE_OF, *_BESIDE)
MAX_WITHIN_PCT = 100.0


def requirement_of(file: TomlFile, path: KeyPath, setting: str, written: object) -> Requirement | None:
    """Return what stands at a setting in `require` as a requirement, or None after noting its faults."""
    definition = checked_definition(file, path, setting, written, own_keys=_KEYS)
    if definition is None:
        return None
    if not isinstance(written, dict):
        operand = _operand(file, path, "equal", definition, written)
        return None if operand is None else Requirement(setting=setting, comparison="equal", operand=operand)
    chosen = _chosen(file, path, written)
    match chosen:
        case None:
            return None
        case "plan":
            return _planned(file, path, setting, definition, written)
        case "data_sheet":
            return _rated(file, path, setting, definition, written)
        case _:
            within = _within(file, path, written) if chosen == "near" else None
            operand = _operand(file, (*path, chosen), chosen, definition, written[chosen])
            if operand is None or (chosen == "near" and within is None):
                return None
            return Requirement(setting=setting, comparison=chosen, operand=operand, within_pct=within)


def _operand(
    file: TomlFile, path: KeyPath, comparison: Comparison, definition: SettingDefinition, value: object
) -> Operand | None:
    try:
        return operand_of(comparison, definition, value)
    except Mismatch as error:
        file.mismatch(path, value, error)
    return None


def _chosen(
    file: TomlFile, path: KeyPath, written: dict[str, Any]
) -> Comparison | Literal["plan", "data_sheet"] | None:
    """The one key that says how to compare, or None after noting what else is there or missing."""
    unknown = [key for key in written if key not in _KEYS]
    for key in unknown:
        expected = "one of " + ", ".join(_ONE_OF)
        file.fault((*path, key), found="an unknown comparison", expected=expected, nearest=nearest(key, _KEYS))
    if unknown:
        return None
    comparisons = [key for key in written if key in _ONE_OF]
    if len(comparisons) != 1:
        found = " and ".join(comparisons) if comparisons else "no comparison"
        file.fault(path, found=found, expected="exactly one comparison")
        return None
    misplaced = [key for key in written if key in _BESIDE and comparisons[0] not in _BESIDE[key]]
    for key in misplaced:
        expected = f"{key} beside {' or '.join(_BESIDE[key])}"
        file.fault((*path, key), found=f"{key} beside {comparisons[0]}", expected=expected)
    return None if misplaced else cast(Comparison, comparisons[0])


def _planned(
    file: TomlFile, path: KeyPath, setting: str, definition: SettingDefinition, written: dict[str, Any]
) -> Requirement | None:
    comparison = _named(file, path, "plan", PLANNED_COMPARISONS, definition, written)
    unplanned = _silence(file, path, "unplanned", written)
    within = None
    if comparison == "near":
        within = _within(file, path, written)
    elif comparison is not None and "within_pct" in written:
        found = f'within_pct beside plan = "{comparison}"'
        file.fault((*path, "within_pct"), found=found, expected='within_pct beside near or plan = "near"')
        return None
    if comparison is None or unplanned is None or (comparison == "near" and within is None):
        return None
    return Requirement(setting=setting, comparison=comparison, is_planned=True, unplanned=unplanned, within_pct=within)


def _rated(
    file: TomlFile, path: KeyPath, setting: str, definition: SettingDefinition, written: dict[str, Any]
) -> Requirement | None:
    comparison = _named(file, path, "data_sheet", RATED_COMPARISONS, definition, written)
    unrated = _silence(file, path, "unrated", written)
    rated = _field(file, path, comparison, definition, written)
    if comparison is None or unrated is None or rated is None:
        return None
    return Requirement(setting=setting, comparison=comparison, rated=rated, unrated=unrated)


def _named(
    file: TomlFile,
    path: KeyPath,
    key: str,
    comparisons: tuple[Comparison, ...],
    definition: SettingDefinition,
    written: dict[str, Any],
) -> Comparison | None:
    """The comparison that stands as text at `plan` or `data_sheet`."""
    value = written[key]
    try:
        comparison = cast(Comparison, _one_of(value, comparisons))
        check_fits(comparison, definition)
    except Mismatch as error:
        file.mismatch((*path, key), value, error)
        return None
    return comparison


def _silence(file: TomlFile, path: KeyPath, key: str, written: dict[str, Any]) -> Silence | None:
    value = written.get(key, "unverified")
    try:
        return cast(Silence, _one_of(value, SILENCES))
    except Mismatch as error:
        file.mismatch((*path, key), value, error)
    return None


def _within(file: TomlFile, path: KeyPath, written: dict[str, Any]) -> float | None:
    value = written.get("within_pct")
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 < value <= MAX_WITHIN_PCT:
        return float(value)
    expected = f"within_pct, a number of percent above 0, at most {MAX_WITHIN_PCT:g}"
    file.mismatch((*path, "within_pct"), value, Mismatch(expected))
    return None


def _field(
    file: TomlFile, path: KeyPath, comparison: Comparison | None, definition: SettingDefinition, written: dict[str, Any]
) -> str | None:
    """The field of the data sheet: in the setting's own unit, and a range where the comparison takes one."""
    value = written.get("field")
    try:
        field = _one_of(value, tuple(RATED_FIELDS))
        if comparison is not None:
            _check_field(field, comparison, definition)
    except Mismatch as error:
        file.mismatch((*path, "field"), value, error)
        return None
    return field


def _check_field(field: str, comparison: Comparison, definition: SettingDefinition) -> None:
    fitting = [
        name
        for name, unit in RATED_FIELDS.items()
        if unit == definition.unit and (name in RATED_RANGES) == (comparison == "between")
    ]
    if field not in fitting:
        which = "a range" if comparison == "between" else "a number"
        wanted = f"{which} in {definition.unit or 'the unit of the setting'} for {comparison}"
        expected = f"{wanted}: {' or '.join(fitting)}" if fitting else f"{wanted}, of which a data sheet has none"
        found = f"{field}, {'a range' if field in RATED_RANGES else 'a number'} in {RATED_FIELDS[field]}"
        raise Mismatch(expected, found=found)


def _one_of(value: object, choices: tuple[str, ...]) -> str:
    if not isinstance(value, str):
        raise Mismatch("one of " + ", ".join(choices))
    return choice(value, choices)
