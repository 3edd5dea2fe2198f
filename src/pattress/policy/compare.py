"""The closed set of comparisons. Each becomes a test of one value, and the words for what it expects.

A test answers True, False, or (a text) why it cannot tell. It never compares loosely: the values were checked against
the vocabulary when they entered, and operands when the policy was loaded.
"""

import ipaddress
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import assert_never

from pattress.model.addresses import IPNetwork, is_inside, parse_address
from pattress.model.finding import shown
from pattress.model.rules import Comparison, Operand
from pattress.model.site import Networks
from pattress.model.vocabulary import Value, definition_of
from pattress.policy.versions import version_key

MAX_HOSTS = 256  # verdicts kept for one rule: the modules of a site name the same few hosts; 256 x 0.5 kB of text

Verdict = bool | str
Test = Callable[[Value], Verdict]


@dataclass(frozen=True, slots=True)
class Expectation:
    """One comparison with its operand, ready to use."""

    test: Test
    words: str


def expectation(
    comparison: Comparison, operand: Operand, setting: str, networks: Networks, *, within_pct: float | None = None
) -> Expectation:
    """Return the test and the words for one comparison.

    The operand is one that the policy file's loader has accepted for this comparison and setting. `within_pct` is
    needed for `near`.
    """
    unit = _unit(setting)
    match comparison:
        case "equal":
            return Expectation(_equal(operand), shown(_value(operand)) + unit)
        case "one_of":
            choices = _values(operand)
            return Expectation(
                lambda value: any(_same(value, choice) for choice in choices),
                "one of " + ", ".join(shown(choice) for choice in choices),
            )
        case "at_least":
            low = _number(operand)
            return Expectation(lambda value: _number(value) >= low, f"at least {shown(low)}{unit}")
        case "at_most":
            high = _number(operand)
            return Expectation(lambda value: _number(value) <= high, f"at most {shown(high)}{unit}")
        case "between":
            first, last = (_number(bound) for bound in _values(operand))
            return Expectation(
                lambda value: first <= _number(value) <= last, f"from {shown(first)} to {shown(last)}{unit}"
            )
        case "near":
            return _near(operand if isinstance(operand, tuple) else (operand,), within_pct, unit)
        case "matches":
            pattern = re.compile(str(operand))
            return Expectation(lambda value: pattern.fullmatch(str(value)) is not None, f"text of the form {operand}")
        case "version_at_least":
            return Expectation(_version_at_least(str(operand)), f"version {operand} or later")
        case "in_network":
            return _in_network(str(operand), networks)
        case "present":
            return Expectation(lambda _: True, "reported")
        case "absent":
            return Expectation(lambda _: False, "not there at all")
        case _:
            assert_never(comparison)


def _unit(setting: str) -> str:
    definition = definition_of(setting)
    shorts = {None: "", "1": "", "Cel": " °C", "%": " %"}
    unit = definition.unit if definition else None
    return shorts.get(unit, f" {unit}")


def _equal(operand: Operand) -> Test:
    wanted = _value(operand)
    if isinstance(wanted, bool):
        return lambda value: value is wanted
    if isinstance(wanted, str):
        return lambda value: value == wanted  # nothing but text equals text
    return lambda value: _same(value, wanted)


def _same(value: Value, wanted: Value) -> bool:
    """Equality that keeps true and 1 apart; 1 and 1.0 are one number."""
    return isinstance(value, bool) == isinstance(wanted, bool) and value == wanted


def _near(operand: tuple[Value, ...], within_pct: float | None, unit: str) -> Expectation:
    if within_pct is None:
        raise TypeError("near needs a distance in percent")
    centres = [_number(one) for one in operand]
    # Rounded, so that the dust of binary fractions does not put 13.2 V outside of 12 V and a tenth.
    bounds = [(centre, round(abs(centre) * within_pct / 100, 9)) for centre in centres]
    return Expectation(
        lambda value: any(round(abs(_number(value) - centre), 9) <= reach for centre, reach in bounds),
        f"within {shown(within_pct)} % of " + " or ".join(f"{shown(centre)}{unit}" for centre in centres),
    )


def _version_at_least(wanted: str) -> Test:
    least = version_key(wanted)

    def test(value: Value) -> Verdict:
        have = version_key(str(value))
        if least is None or have is None:
            return f"{shown(value if have is None else wanted)} is no version that can be ordered"
        return have >= least

    return test


def _in_network(operand: str, networks: Networks) -> Expectation:
    if operand in ("devices", "inside"):
        allowed: tuple[IPNetwork, ...] = networks.devices if operand == "devices" else networks.inside
        names = networks.names
    else:
        allowed, names = (ipaddress.ip_network(operand),), ()
    listed = ", ".join(str(network) for network in allowed)
    suffixes = tuple(f".{name.lower()}" for name in names)
    words = f"an address in {listed}" + (f" or a name under {', '.join(names)}" if names else "")

    @lru_cache(maxsize=MAX_HOSTS)
    def test(value: Value) -> Verdict:
        text = str(value)
        address = parse_address(text.strip("[]"))
        if address is not None:
            return is_inside(address, allowed)
        return f".{text.lower().rstrip('.')}".endswith(suffixes) if suffixes else f"{shown(text)} is no IP address"

    return Expectation(test, words)


def _number(operand: Operand) -> float | int:
    if isinstance(operand, int | float):
        return operand
    raise TypeError(f"a number belongs here, not {operand!r}")


def _value(operand: Operand) -> Value:
    if isinstance(operand, tuple):
        raise TypeError("one value belongs here, not several")
    return operand


def _values(operand: Operand) -> tuple[Value, ...]:
    if not isinstance(operand, tuple):
        raise TypeError("several values belong here")
    return operand
