"""The `[[rule]]` tables of a policy file into rules, and the parts of a rule that an override may replace.

What belongs here: what one rule may hold. What does not: the entries of `require` (`requirements`), and how files
make a policy together (`policy_file`).
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, get_args

from pydantic import Field, PlainValidator

from pattress.model.profile import ModuleClass
from pattress.model.rules import Applies, Requirement, Rule, Severity
from pattress.model.vocabulary import groups
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import UNKNOWN, Known
from pattress.site.requirements import requirement_of
from pattress.site.shapes import Identifier, Mismatch, Shape, Table, Text
from pattress.site.words import said

APPLIES = "a table with kind, class, maker, room or has"
REQUIRE = "at least one setting and what it must be"


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What the rules of a policy may refer to. `built_in` are ids of rules that the program itself has."""

    kinds: Known = UNKNOWN
    makers: Known = UNKNOWN
    built_in: Collection[str] = ()


def rules_in(file: TomlFile, surroundings: Surroundings) -> Iterator[Rule]:
    """Yield each rule of a file that is right, after noting the faults of the others."""
    for path, table in file.tables("rule"):
        if table.get("id") in surroundings.built_in:
            expected = "an id that no built-in rule has"
            file.fault((*path, "id"), found=said(table["id"]), expected=expected)
        shape = file.checked(RuleShape, path, table)
        applies = applies_of(file, (*path, "applies"), table.get("applies"), surroundings)
        requirements = requirements_of(file, (*path, "require"), table.get("require"))
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
                file=file.shown,
            )


def applies_of(file: TomlFile, path: KeyPath, written: Any, surroundings: Surroundings) -> Applies | None:
    """Return what an `applies` table says, all devices where there is none, None after noting its faults."""
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


def requirements_of(file: TomlFile, path: KeyPath, written: Any) -> tuple[Requirement, ...]:
    """Return the entries of a `require` table that are right, in their order, after noting the faults of the others."""
    entries = written.items() if isinstance(written, dict) else ()
    found = [requirement_of(file, (*path, setting), setting, operand) for setting, operand in entries]
    return tuple(requirement for requirement in found if requirement is not None)


def _words(value: object) -> tuple[str, ...]:
    words = value if isinstance(value, list) else [value]
    if not words or not all(isinstance(word, str) and word.strip() for word in words):
        raise Mismatch("text or a list of text")
    return tuple(words)


Words = Annotated[tuple[str, ...], PlainValidator(_words)]


class RuleShape(Shape):
    """One `[[rule]]` table."""

    id: Identifier = Field(description="an id that no other rule has")
    title: Text = Field(description="what holds where the rule is met, in a few words")
    severity: Severity = Field(description="danger, fault or advice")
    because: Text = Field(description="why the rule is there")
    fix: Text = Field(description="what to do where the rule is broken")
    cites: list[Text] = Field(default=[], description="a list of sources as text")
    applies: Table = Field(default={}, description=APPLIES)
    require: Table = Field(description=REQUIRE, min_length=1)


class AppliesShape(Shape):
    """The `applies` table of a rule."""

    kind: Words = ()
    module_class: Words = Field(default=(), alias="class")
    maker: Words = ()
    room: Words = ()
    has: Words = ()


def _check_words(file: TomlFile, path: KeyPath, words: tuple[str, ...], known: Known, expected: str) -> None:
    for index, word in enumerate(words):
        if known.lacks(word):
            at = (*path, index) if len(words) > 1 else path
            file.fault(at, found=said(word), expected=expected, nearest=known.nearest(word))
