"""The `[[override]]` tables of a policy file: what it changes of the rules in the files that it includes.

What belongs here: what an override may hold and which rule it may change. What does not: rules of the file itself
(`rule_tables`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import Field

from pattress.model.rules import Override, Rule, Severity
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.policy_parts import PolicyPart
from pattress.site.rule_tables import APPLIES, REQUIRE, Surroundings, applies_of, requirements_of
from pattress.site.shapes import Identifier, Shape, Table, Text, unknown_keys
from pattress.site.words import said

FIELDS = ("severity", "applies", "require", "because", "fix")
"""What an override may put in the place of a rule's own, in the order in which it is told."""


class OverrideShape(Shape):
    """One `[[override]]` table."""

    rule: Identifier = Field(description="the id of a rule in an included file")
    severity: Severity | None = Field(default=None, description="danger, fault or advice")
    applies: Table | None = Field(default=None, description=APPLIES)
    require: Table | None = Field(default=None, description=REQUIRE, min_length=1)
    because: Text | None = Field(default=None, description="why the rule is there")
    fix: Text | None = Field(default=None, description="what to do where the rule is broken")
    drop: bool | None = Field(default=None, description="true, or no drop at all")
    reason: Text | None = Field(default=None, description="why the rule is changed here")


@dataclass(slots=True, kw_only=True)
class Gathered:
    """The rules of a policy as far as its files were gone through, by id, and what was overridden on the way.

    `homes` says in which part each rule stands; `changed` where each was overridden.
    """

    rules: dict[str, Rule] = field(default_factory=dict)
    homes: dict[str, tuple[PolicyPart, KeyPath]] = field(default_factory=dict)
    changed: dict[str, list[tuple[PolicyPart, KeyPath]]] = field(default_factory=dict)
    overridden: list[Override] = field(default_factory=list)

    @property
    def dropped(self) -> Mapping[str, Override]:
        """The overrides that dropped a rule, by its id."""
        return {one.rule: one for one in self.overridden if one.dropped is not None}


def override(gathered: Gathered, part: PolicyPart, surroundings: Surroundings, rules: Known) -> None:
    """Carry out the overrides of one file, after noting their faults. `rules` are those that its includes define."""
    file = part.file
    first: dict[str, KeyPath] = {}
    for path, table in file.tables("override"):
        file.check_unique(first, (*path, "rule"), table.get("rule"), expected="one override of each rule")
        before = len(file.faults)
        _check_rule(gathered, part, (*path, "rule"), table.get("rule"), rules)
        _check_fields(file, path, table)
        shape = file.checked(OverrideShape, path, table)
        rule = gathered.rules.get(shape.rule) if shape is not None else None
        changed = _changed(file, path, shape, rule, surroundings) if shape is not None and rule is not None else None
        if shape is None or rule is None or changed is None or len(file.faults) > before:
            continue
        gathered.changed.setdefault(rule.id, []).append((part, (*path, "rule")))
        if shape.drop:
            del gathered.rules[rule.id]
        else:
            gathered.rules[rule.id] = changed
        gathered.overridden.append(
            Override(
                rule=rule.id,
                file=file.shown,
                fields=tuple(name for name in FIELDS if name in table),
                reason=shape.reason,
                dropped=rule if shape.drop else None,
            )
        )


def _check_rule(gathered: Gathered, part: PolicyPart, path: KeyPath, rule: object, rules: Known) -> None:
    if not isinstance(rule, str):
        return
    file = part.file
    expected = "the id of a rule in an included file"
    home = gathered.homes.get(rule)
    if home is not None and home[0] is part:
        file.fault(
            path, found=f"{said(rule)}, a rule of this file", expected=f"{expected}; change this one in its place"
        )
    elif rules.lacks(rule):
        file.fault(path, found=said(rule), expected=expected, nearest=rules.nearest(rule))
    elif rule in gathered.dropped:
        file.fault(path, found=f"{said(rule)}, which {gathered.dropped[rule].file} has dropped", expected=expected)
    else:
        _check_is_alone(gathered, part, path, rule)


def _check_is_alone(gathered: Gathered, part: PolicyPart, path: KeyPath, rule: str) -> None:
    """Of two files that override one rule, one must include the other: else their order would decide."""
    file = part.file
    for other, where in gathered.changed.get(rule, ()):
        if other.path not in part.includes and other is not part:
            line = other.file.lines.line_of(where)
            found = f"{said(rule)} overridden again (first in {other.file.shown}, line {line})"
            file.fault(path, found=found, expected="one override of a rule, or one file that includes the other")


def _check_fields(file: TomlFile, path: KeyPath, table: dict[str, Any]) -> None:
    written = [name for name in FIELDS if name in table]
    if "drop" not in table:
        if not written and not unknown_keys(OverrideShape, table):
            expected = f"at least one of {', '.join(FIELDS)} to replace, or drop"
            file.fault(path, found="nothing to change", expected=expected)
        return
    if table["drop"] is False:
        file.fault((*path, "drop"), found="false", expected="true, or no drop at all")
    for name in written:
        file.fault((*path, name), found=f"drop and {name}", expected="drop with a reason and nothing else")
    if "reason" not in table:
        file.fault((*path, "reason"), found="nothing", expected="the reason why the rule does not hold here")


def _changed(
    file: TomlFile, path: KeyPath, shape: OverrideShape, rule: Rule, surroundings: Surroundings
) -> Rule | None:
    """The rule with what an override puts in the place of its own, or None after noting the faults of that."""
    applies = rule.applies
    if shape.applies is not None:
        written = applies_of(file, (*path, "applies"), shape.applies, surroundings)
        if written is None:
            return None
        applies = written
    requirements = rule.requirements
    if shape.require is not None:
        requirements = requirements_of(file, (*path, "require"), shape.require)
    return replace(
        rule,
        severity=shape.severity or rule.severity,
        applies=applies,
        requirements=requirements,
        because=shape.because or rule.because,
        fix=shape.fix or rule.fix,
    )
