"""JMESPath on what a stranger sent: a value, nothing, or one error.

What belongs here: searching decoded documents. What does not: what is searched for.

Source: JMESPath specification (jmespath.org). The library leaves it to Python where a document has text in place of a
number: comparisons and `contains` then raise what Python raises.
"""

from functools import lru_cache

import jmespath
from jmespath.exceptions import JMESPathError
from jmespath.parser import ParsedResult

MAX_SHOWN = 120  # the library quotes the whole value, which may be a whole document


class SearchError(ValueError):
    """The expression cannot be applied to this document. The message is the reason, for a person."""


def search(expression: str, content: object) -> object:
    """Return what an expression finds; None where that is nothing.

    Raises:
        SearchError: If the content is of a kind that the expression cannot be applied to.
    """
    try:
        return _compiled(expression).search(content)
    except (JMESPathError, ArithmeticError, TypeError, ValueError) as error:
        reason = str(error)
        shown = reason if len(reason) <= MAX_SHOWN else reason[: MAX_SHOWN - 3] + "..."
        raise SearchError(f"{expression} cannot be applied to what is there: {shown}") from error


@lru_cache(maxsize=4096)  # 60 profiles of 60 expressions; all of them come from profiles, none from a device
def _compiled(expression: str) -> ParsedResult:
    return jmespath.compile(expression)
