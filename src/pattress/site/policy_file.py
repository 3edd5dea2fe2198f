"""The files of a policy into a `Policy`.

What belongs here: how the rules and overrides of several files make one policy. What does not: which files these are
(`policy_parts`), what one rule may hold (`rule_tables`) and what may be overridden (`policy_overrides`).
"""

from collections.abc import Mapping, Sequence
from hashlib import sha256

from pydantic import Field

from pattress.model.rules import SEVERITIES, Beyond, Policy, Severity
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import UNKNOWN, Known, known_names
from pattress.site.policy_overrides import Gathered, override
from pattress.site.policy_parts import PolicyPart
from pattress.site.rule_tables import Surroundings, rules_in
from pattress.site.shapes import Identifier, Shape, Table, Text, is_identifier, unknown_keys
from pattress.site.words import said


def policy_of(parts: Sequence[PolicyPart], surroundings: Surroundings) -> Policy | None:
    """Return the policy that its files describe, or None after noting the faults of each.

    The last file is the policy's own; those that it includes stand before it.
    """
    gathered = Gathered()
    beyond: dict[str, tuple[PolicyPart, KeyPath]] = {}
    notes: list[Beyond] = []
    shape = None
    for part in parts:
        if not part.file.is_readable:
            continue
        shape = part.file.checked(PolicyShape, (), part.file.data)
        _check_holds_something(part)
        for path, table in part.file.tables("rule"):
            _check_unique(gathered.homes, part, (*path, "id"), table.get("id"), "an id that no other rule has")
        gathered.rules.update((rule.id, rule) for rule in rules_in(part.file, surroundings))
        override(gathered, part, surroundings, included_rules(part, parts))
        notes += _beyond(part, beyond)
    if shape is None or any(part.file.faults for part in parts):
        return None
    return Policy(
        id=shape.id,
        title=shape.title,
        rules=tuple(gathered.rules.values()),
        digest=_digest([part.file for part in parts]),
        overridden=tuple(gathered.overridden),
        beyond=tuple(notes),
        files=tuple(part.file.shown for part in parts),
    )


def included_rules(part: PolicyPart, parts: Sequence[PolicyPart]) -> Known:
    """Return the ids of the rules in the files that one includes, as far as they can be made out."""
    included = [one for one in parts if one.path in part.includes]
    known = _ids(included)
    return Known(names=known.names, is_complete=known.is_complete and all(map(_tells_all, (part, *included))))


def waivable_rules(parts: Sequence[PolicyPart]) -> tuple[Known, Mapping[str, Severity]]:
    """Return the ids of the rules of a policy, as far as they can be made out where it has faults, and severities."""
    if not parts or not all(part.file.is_readable for part in parts):
        return UNKNOWN, {}
    known = _ids(parts)
    severities: dict[str, Severity] = {}
    dropped: set[str] = set()
    for part in parts:
        for key, kind in (("id", "rule"), ("rule", "override")):
            for _, table in part.file.tables(kind):
                name = table.get(key)
                severity = next((one for one in SEVERITIES if one == table.get("severity")), None)
                if isinstance(name, str) and severity is not None:
                    severities[name] = severity
                if isinstance(name, str) and kind == "override" and table.get("drop") is True:
                    dropped.add(name)
    return Known(names=known.names - dropped, is_complete=known.is_complete and all(map(_tells_all, parts))), severities


class PolicyShape(Shape):
    """The top of a policy file."""

    id: Identifier = Field(description="the id of the policy, such as isolated-house")
    title: Text = Field(description="what the policy asks for, in a few words")
    include: list[Text] = Field(default=[], description="a list of policies, by id or by file")
    rule: list[Table] = Field(default=[], description="[[rule]] tables")
    override: list[Table] = Field(default=[], description="[[override]] tables")
    beyond: list[Table] = Field(default=[], description="[[beyond]] tables")


class BeyondShape(Shape):
    """One `[[beyond]]` table."""

    provision: Text = Field(description="a provision as rules cite it")
    why: Text = Field(description="why no setting can show it")


def _check_holds_something(part: PolicyPart) -> None:
    if not part.names_includes and part.file.data.get("rule", []) == []:
        file = part.file
        found = said(file.data["rule"]) if "rule" in file.data else "nothing"
        file.fault(("rule",), found=found, expected="[[rule]] tables, or policies to include")


def _check_unique(
    first: dict[str, tuple[PolicyPart, KeyPath]], part: PolicyPart, path: KeyPath, value: object, expected: str
) -> None:
    """Note a fault where a file of the policy, this one or an included one, holds the value already."""
    if not isinstance(value, str):
        return
    other, where = first.setdefault(value, (part, path))
    if (other, where) != (part, path):
        line = other.file.lines.line_of(where)
        place = f"line {line}" if other is part else f"{other.file.shown}, line {line}"
        part.file.fault(path, found=f"{said(value)} again (first in {place})", expected=expected)


def _beyond(part: PolicyPart, first: dict[str, tuple[PolicyPart, KeyPath]]) -> list[Beyond]:
    notes = []
    for path, table in part.file.tables("beyond"):
        at = (*path, "provision")
        _check_unique(first, part, at, table.get("provision"), "each provision once")
        shape = part.file.checked(BeyondShape, path, table)
        if shape is not None:
            notes.append(Beyond(provision=shape.provision, why=shape.why))
    return notes


def _tells_all(part: PolicyPart) -> bool:
    """Whether a file could be read, and what it includes was found: else it may lead to any rule."""
    file = part.file
    is_sound = not any(fault.place.startswith("include") for fault in file.faults)
    return file.is_readable and is_sound and not unknown_keys(PolicyShape, dict(file.data))


def _ids(parts: Sequence[PolicyPart]) -> Known:
    ids = [table.get("id") for part in parts for _, table in part.file.tables("rule")]
    return known_names(ids, is_identifier)


def _digest(files: Sequence[TomlFile]) -> str:
    """The digest of a lone file is its own; that of several is over theirs, so that a change in any of them shows."""
    if len(files) == 1:
        return files[0].digest
    return sha256("\n".join(file.digest for file in files).encode()).hexdigest()
