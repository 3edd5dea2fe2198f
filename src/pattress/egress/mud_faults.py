"""The faults of a MUD file in words, each with its JSON pointer.

What belongs here: a shape's complaints, said as all faults are. What does not: the shapes, and judging.
"""

from typing import TypeVar

from pydantic import BaseModel, ValidationError

from pattress.model.errors import Fault

_Read = TypeVar("_Read", bound=BaseModel)


def read_shape(shape: type[_Read], value: object, *, file: str, pointer: str) -> _Read | list[Fault]:
    """Return what `value` says, or its faults, the first hundred of them. `pointer` is where it stands (RFC 6901).

    The steps below it are numbers and names of the shape, none of which has a character that a pointer would escape.
    """
    try:
        return shape.model_validate(value)
    except ValidationError as error:
        return [
            Fault(
                file=file,
                line=None,
                place=pointer + "".join(f"/{step}" for step in detail["loc"]),
                found="nothing" if detail["type"] == "missing" else shown(detail["input"]),
                expected=_expected(detail["type"], detail["msg"]),
            )
            for detail in error.errors(include_url=False)[:100]
        ]


def shown(value: object) -> str:
    """Return a value of a document in words that are short and visible whatever it holds."""
    match value:
        case dict():
            return "an object"
        case list():
            return "a list"
        case str():
            return ascii(value if len(value) <= _SHOWN_CHARACTERS else value[:_SHOWN_CHARACTERS] + "…")
        case bool() | None:
            return {True: "true", False: "false", None: "null"}[value]
        case int() if abs(value) >= 10**18:
            return "a very large number"
        case _:
            return str(value)[:_SHOWN_CHARACTERS]


def _expected(sort: str, message: str) -> str:
    if sort == "missing":
        return "a value"
    if sort == "string_pattern_mismatch":
        return "a name of 1 to 64 visible characters"
    words = message.removeprefix("Value error, ").removeprefix("Input should be ").removeprefix("Input should have ")
    return words[:1].lower() + words[1:]


_SHOWN_CHARACTERS = 60
