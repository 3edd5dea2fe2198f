"""Regular expressions that a site's files may use: those that stay fast whatever a device reports.

What belongs here: whether a pattern compiles, and a bound on the ways in which it can match. What does not: matching.
The library goes back and tries every way; a device could report a text that keeps an unlucky pattern busy for years.
"""

import re
import warnings
from dataclasses import dataclass

MAX_PATTERN_LENGTH = 200
MAX_LINE_PATTERN_LENGTH = 500
MAX_BITS = 27
"""Ways to try, as a power of two: a repetition counts 9 bits, for values have at most 512 characters.

Three repetitions share those characters, which leaves a sixth of 2^27 ways: about 0.1 s. An option or a choice is
only two ways but counts 2 bits, so that there are at most 13 of them, 2^13 ways.
"""

_REPETITION_BITS = 9
_OPTION_BITS = 2


def pattern_fault(pattern: str) -> str | None:
    """Return what is wrong with a regular expression, or None where it may be used."""
    return _fault(pattern, MAX_PATTERN_LENGTH, _Ways())


def line_pattern_fault(pattern: str) -> str | None:
    """Return what is wrong with a regular expression for the lines of a log, or None where it may be used.

    A line has many parts, so that its repetitions are not counted. But none may stand around another, unless it is
    of so many as are written: a stranger chooses what is in a line.
    """
    return _fault(pattern, MAX_LINE_PATTERN_LENGTH, _Ways(counts=False))


def _fault(pattern: str, max_length: int, ways: "_Ways") -> str | None:
    if len(pattern) > max_length:
        return f"it has more than {max_length} characters"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # what a later version may read otherwise is not left to chance
            re.compile(pattern)
    except (re.error, OverflowError, RecursionError, Warning) as error:
        return str(error)
    return ways.fault(pattern)


@dataclass(slots=True)
class _Group:
    """A group that is open, and whether what it has matched can be matched in another way."""

    is_variable: bool = False
    is_atomic: bool = False


class _Ways:
    """Counts the ways in which a pattern that compiles can match. It errs towards more ways than there are."""

    def __init__(self, *, counts: bool = True) -> None:
        self._counts = counts
        self._bits = 0
        self._open = [_Group()]

    def fault(self, pattern: str) -> str | None:
        at = 0
        while at < len(pattern):
            found = _TOKEN.match(pattern, at)
            if found is None:  # cannot be: the last alternative takes any character
                raise AssertionError(pattern)
            at = found.end()
            closed = self._take(found)
            quantifier = _QUANTIFIER.match(pattern, at)
            if quantifier is None or found.lastgroup in ("open", "choice"):
                continue
            at = quantifier.end()
            if closed is not None and closed.is_variable and not self._is_harmless(quantifier):
                return "a repetition around another repetition, an option or a choice can take for ever"
            self._quantify(quantifier)
        return (
            None
            if not self._counts or self._bits <= MAX_BITS
            else "it has so many repetitions and options that it can take for ever"
        )

    def _take(self, token: re.Match[str]) -> _Group | None:
        """Take one token; where it closes a group, return that group."""
        if token.lastgroup == "open":
            self._open.append(_Group(is_atomic=token[0] == "(?>"))
        elif token.lastgroup == "choice":
            self._bits += _OPTION_BITS
            self._open[-1].is_variable = True
        elif token.lastgroup == "close":
            closed = self._open.pop()
            closed.is_variable = closed.is_variable and not closed.is_atomic
            self._open[-1].is_variable |= closed.is_variable
            return closed
        return None

    def _quantify(self, quantifier: re.Match[str]) -> None:
        if quantifier["mode"] == "+" or _FIXED.fullmatch(quantifier["count"]):
            return  # it never gives back, or has nothing to give
        self._bits += _OPTION_BITS if quantifier["count"] == "?" else _REPETITION_BITS
        self._open[-1].is_variable = True

    def _is_harmless(self, quantifier: re.Match[str]) -> bool:
        if not self._counts and _FEW.fullmatch(quantifier["count"]):
            return True
        return quantifier["mode"] == "+" or quantifier["count"] in ("?", "{1}")


_TOKEN = re.compile(
    r"(?P<whole>\\.|\[\^?\]?(?:[^\]\\]|\\.)*+\]|\(\?#[^)]*+\)|\(\?P=\w+\)|\(\?[aiLmsux-]+\))"
    r"|(?P<open>\((?:\?(?:[aiLmsux-]*:|P<\w+>|<?[=!]|>|\(\w+\)))?)"
    r"|(?P<close>\))|(?P<choice>\|)|(?P<other>.)",
    re.DOTALL,
)
_QUANTIFIER = re.compile(r"(?P<count>[*+?]|\{\d+\}|\{\d*,\d*\})(?P<mode>[+?]?)")
_FIXED = re.compile(r"\{\d+\}")
_FEW = re.compile(r"\{[1-9]\}")  # as in (?:\d{1,3}\.){3}, which is no worse than the same written out
