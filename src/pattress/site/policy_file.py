"""A policy file into a `Policy`.

What belongs here: its rules and what they apply to. What does not: the entries of `require` (`requirements`), and
where policies are kept (`places`).
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, get_args

from pydantic import Field, PlainValidator

from pattress.model.profile import ModuleClass
from pattress.model.rules import Applies, Policy, Requirement, Rule, Severity
from pattress.model.vocabulary import groups
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import UNKNOWN, Known, known_names
from pattress.site.requirements import requirement_of
from pattress.site.shapes import Identifier, Mismatch, Shape, Table, Text, is_identifier
from pattress.site.words import said


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What the rules of a policy may refer to. `built_in` are ids of rules that the program itself has."""

    kinds: Known = UNKNOWN
    makers: Known = UNKNOWN
    built_in: Collection[str] = ()


def policy_of(file: TomlFile, surroundings: Surroundings) -> Policy | None:
    """Return the policy that a file describes, or None after noting its faults."""
    if not file.is_readable:
        return None
    shape = file.checked(PolicyShape, (), file.data)
    rules = tuple(_rules(file, surroundings))
    if shape is None or file.faults:
        return None
    return Policy(id=shape.id, title=shape.title, rules=rules, digest=file.digest)


def rule_ids(file: TomlFile) -> Known:
    """Return the ids of the rules in a policy file, as far as they can be made out where the file has faults."""
    ids = [table.get("id") for _, table in file.tables("rule")]
    return known_names(ids, is_identifier) if file.is_readable else UNKNOWN


def _words(value: object) -> tuple[str, ...]:
    words = value if isinstance(value, list) else [value]
    if not words or not all(isinstance(word, str) and word.strip() for word in words):
        raise Mismatch("text or a list of text")
    return tuple(words)


Words = Annotated[tuple[str, ...], PlainValidator(_words)]


class PolicyShape(Shape):
    """The top of a policy file."""

    id: Identifier = Field(description="the id of the policy, such as isolated-house")
    title: Text = Field(description="what the policy asks for, in a few words")
    rule: list[Table] = Field(description="[[rule]] tables", min_length=1)


class RuleShape(Shape):
    """One `[[rule]]` table."""

    id: Identifier = Field(description="an id that no other rule has")
    title: Text = Field(description="what holds where the rule is met, in a few words")
    severity: Severity = Field(description="danger, fault or advice")
    because: Text = Field(description="why the rule is there")
    fix: Text = Field(description="what to do where the rule is broken")
    cites: list[Text] = Field(default=[], description="a list of sources as text")
    applies: Table = Field(default={}, description="a table with kind, class, maker, room or has")
    require: Table = Field(description="at least one setting and what it must be", min_length=1)


class AppliesShape(Shape):
    """The `applies` table of a rule."""

    kind: Words = ()
    module_class: Words = Field(default=(), alias="class")
    maker: Words = ()
    room: Words = ()
    has: Words = ()


def _rules(file: TomlFile, surroundings: Surroundings) -> Iterator[Rule]:
    first: dict[str, KeyPath] = {}
    for path, table in file.tables("rule"):
        file.check_unique(first, (*path, "id"), table.get("id"), expected="an id that no other rule has")
        if table.get("id") in surroundings.built_in:
            expected = "an id that no built-in rule has"
            file.fault((*path, "id"), found=said(table["id"]), expected=expected)
        shape = file.checked(RuleShape, path, table)
        applies = _applies(file, (*path, "applies"), table.get("applies"), surroundings)
        requirements = tuple(_requirements(file, (*path, "require"), table.get("require")))
        if shape is not None and applies is not None:
            yield Rule(
                id=shape.id,
                title=shape.title,
                severity=shape.severity,
                because=shape.because,
                fix=shape.fix,
                requirements=requirements,
                applies=applies,
                cites=tuple(shape.cites),
            )


def _applies(file: TomlFile, path: KeyPath, written: Any, surroundings: Surroundings) -> Applies | None:
    if not isinstance(written, dict):
        return Applies()
    shape = file.checked(AppliesShape, path, written)
    if shape is None:
        return None
    classes = Known(names=frozenset(get_args(ModuleClass)))
    _check_words(file, (*path, "kind"), shape.kind, surroundings.kinds, "the id of a profile")
    _check_words(file, (*path, "class"), shape.module_class, classes, "one of " + ", ".join(get_args(ModuleClass)))
    _check_words(file, (*path, "maker"), shape.maker, surroundings.makers, "the maker of a profile")
    # A room is not checked: a policy is shared between houses, and a house without such a room is no mistake.
    _check_words(file, (*path, "has"), shape.has, Known(names=frozenset(groups())), "one of " + ", ".join(groups()))
    return Applies(kinds=shape.kind, classes=shape.module_class, makers=shape.maker, rooms=shape.room, has=shape.has)


def _check_words(file: TomlFile, path: KeyPath, words: tuple[str, ...], known: Known, expected: str) -> None:
    for index, word in enumerate(words):
        if known.lacks(word):
            at = (*path, index) if len(words) > 1 else path
            file.fault(at, found=said(word), expected=expected, nearest=known.nearest(word))


def _requirements(file: TomlFile, path: KeyPath, written: Any) -> Iterator[Requirement]:
    for setting, operand in written.items() if isinstance(written, dict) else ():
        requirement = requirement_of(file, (*path, setting), setting, operand)
        if requirement is not None:
            yield requirement
