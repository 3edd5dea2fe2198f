"""Policies: rules that hold for every device they apply to, and accepted exceptions."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from pattress.model.vocabulary import Value

Severity = Literal["danger", "fault", "advice"]
SEVERITIES: tuple[Severity, ...] = ("danger", "fault", "advice")

Comparison = Literal[
    "equal",
    "one_of",
    "at_least",
    "at_most",
    "between",
    "matches",
    "version_at_least",
    "in_network",
    "present",
    "absent",
]
COMPARISONS: tuple[Comparison, ...] = (
    "equal",
    "one_of",
    "at_least",
    "at_most",
    "between",
    "matches",
    "version_at_least",
    "in_network",
    "present",
    "absent",
)
PLANNED_COMPARISONS: tuple[Comparison, ...] = ("equal", "at_least", "at_most", "version_at_least")
"""Comparisons that a `plan` requirement may name."""

Operand = Value | tuple[Value, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """What one setting must be. `setting` may hold `*` for every channel.

    With `is_planned` the operand comes from the point's plan; `unplanned` says what holds where the plan is silent.
    """

    setting: str
    comparison: Comparison
    operand: Operand = True
    is_planned: bool = False
    unplanned: Literal["unverified", "skip"] = "unverified"


@dataclass(frozen=True, slots=True, kw_only=True)
class Applies:
    """Which devices a rule applies to; an empty field says all. Fields together must all hold."""

    kinds: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    makers: tuple[str, ...] = ()
    rooms: tuple[str, ...] = ()
    has: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule of a policy, with everything needed to explain its outcome to a person."""

    id: str
    title: str
    severity: Severity
    because: str
    fix: str
    requirements: tuple[Requirement, ...] = ()
    applies: Applies = Applies()
    cites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """A named set of rules. `digest` is the SHA-256 of its file, so that a report can say which policy it used."""

    id: str
    title: str
    rules: tuple[Rule, ...]
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver:
    """An accepted exception to one rule at one point or device, until the end of a day."""

    rule: str
    reason: str
    who: str
    until: date
    point: str | None = None
    device: str | None = None
    safe_because: str | None = None
