"""JMESPath on what a stranger sent: a value, nothing, or one error.

What belongs here: searching decoded documents. What does not: what is searched for.

Source: JMESPath specification (jmespath.org). The library leaves it to Python where a document has text in place of a
number: comparisons and `contains` then raise what Python raises.
"""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import jmespath
from jmespath.exceptions import JMESPathError

MAX_SHOWN = 120  # the library quotes the whole value, which may be a whole document

Search = Callable[[object], object]


class SearchError(ValueError):
    """The expression cannot be applied to this document. The message is the reason, for a person."""


def search(expression: str, content: object) -> object:
    """Return what an expression finds; None where that is nothing.

    Raises:
        SearchError: If the content is of a kind that the expression cannot be applied to.
    """
    try:
        return _compiled(expression)(content)
    except (JMESPathError, ArithmeticError, TypeError, ValueError) as error:
        reason = str(error)
        shown = reason if len(reason) <= MAX_SHOWN else reason[: MAX_SHOWN - 3] + "..."
        raise SearchError(f"{expression} cannot be applied to what is there: {shown}") from error


@lru_cache(maxsize=4096)  # 60 profiles of 60 expressions; all of them come from profiles, none from a device
def _compiled(expression: str) -> Search:
    compiled = jmespath.compile(expression)
    walk = _walk(compiled.parsed)
    if walk is None:
        return compiled.search  # type: ignore[no-any-return]
    return lambda content: _walked(walk, content)


def _walk(node: Mapping[str, Any]) -> tuple[str | int, ...] | None:
    """Return the names and indexes that an expression goes through, or None where it is more than those.

    Nearly all expressions of profiles are no more, and a walk takes a fifth of the library's time.
    """
    match node["type"]:
        case "field" | "index":
            return (node["value"],)
        case "identity" | "current":
            return ()
        case "subexpression" | "index_expression":
            steps: tuple[str | int, ...] = ()
            for child in node["children"]:
                further = _walk(child)
                if further is None:
                    return None
                steps += further
            return steps
        case _:
            return None


def _walked(walk: tuple[str | int, ...], content: object) -> object:
    here = content
    for step in walk:
        if isinstance(step, str):
            if not isinstance(here, dict):
                return None
            here = here.get(step)
        else:
            if not isinstance(here, list) or not -len(here) <= step < len(here):
                return None
            here = here[step]
    return here
