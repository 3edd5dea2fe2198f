"""Checks of what a question is asked with: each returns its number, or says in words what cannot be.

What belongs here: what a number may be. What does not: what it is used for.
"""

import difflib
import math
from collections.abc import Iterable
from typing import TypeVar

from pattress.model.errors import CircuitError

SMALLEST, LARGEST = 1e-9, 1e9  # in SI units: beyond, it is a slip of the pen, and products stay finite
COLDEST_C, WARMEST_C = -60.0, 250.0  # where copper's resistance is linear enough, and insulation still there

Word = TypeVar("Word", bound=str)


def positive(value: float, name: str, unit: str) -> float:
    """Return a number that is above nought.

    Raises:
        CircuitError: If it is nought, negative, no number, or out of all proportion.
    """
    _check_number(value, name, unit)
    if value < SMALLEST:
        raise _wrong(value, name, unit, "a number above 0")
    return float(value)


def not_negative(value: float, name: str, unit: str) -> float:
    """Return a number that is nought or above.

    Raises:
        CircuitError: If it is negative, no number, or out of all proportion.
    """
    _check_number(value, name, unit)
    if value < 0:
        raise _wrong(value, name, unit, "0 or a number above")
    return float(value)


def share(value: float, name: str) -> float:
    """Return a share: above 0 and at most 1, such as a power factor or an efficiency.

    Raises:
        CircuitError: If it is none; a number such as 90 is told to be written 0.9.
    """
    _check_number(value, name, "")
    if not 0.001 <= value <= 1:
        hint = f"Write {value / 100:g} for {value:g} %." if 1 < value <= 100 else "Use a number from 0.001 to 1."
        raise CircuitError(f"{value:g} is no share", where=name, next_step=hint)
    return float(value)


def whole(value: int, name: str, *, least: int = 1, most: int = 10_000) -> int:
    """Return a count.

    Raises:
        CircuitError: If it is not a whole number from `least` to `most`.
    """
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise CircuitError(f"{value!r} is no count", where=name, next_step=f"Use a whole number, {least} to {most}.")
    return value


def phases(value: int) -> int:
    """Return a number of phases, 1 or 3.

    Raises:
        CircuitError: If it is neither.
    """
    if value not in (1, 3):
        raise CircuitError(f"{value!r} phases", where="phases", next_step="Use 1 or 3.")
    return value


def temperature(value: float, name: str) -> float:
    """Return a temperature in degrees Celsius.

    Raises:
        CircuitError: If no conductor of a house is ever at it.
    """
    _check_number(value, name, "Cel")
    if not COLDEST_C <= value <= WARMEST_C:
        raise _wrong(value, name, "degrees Celsius", f"{COLDEST_C:g} to {WARMEST_C:g}")
    return float(value)


def one_of(value: str, name: str, choices: Iterable[Word]) -> Word:
    """Return the choice that a word is.

    Raises:
        CircuitError: If it is none, with the nearest of them.
    """
    known = list(choices)
    for choice in known:
        if choice == value:
            return choice
    close = nearest(value, known)
    hint = f"Did you mean {close}? " if close else ""
    raise CircuitError(f"there is no {name} {value!r}", where=name, next_step=f"{hint}Use one of: {', '.join(known)}.")


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """Return the choice most like a word, or None where nothing is near."""
    close = difflib.get_close_matches(str(word)[:200], list(choices), n=1, cutoff=0.5)
    return close[0] if close else None


def _check_number(value: float, name: str, unit: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _wrong(value, name, unit, "a number")
    if abs(value) > LARGEST:
        raise _wrong(value, name, unit, f"at most {LARGEST:g}")


def _wrong(value: object, name: str, unit: str, expected: str) -> CircuitError:
    number = f"{value:g}" if isinstance(value, float) else repr(value)
    of_unit = f" in {unit}" if unit else ""
    return CircuitError(f"{number} cannot be", where=name, next_step=f"Give {expected}{of_unit}.")
