"""Policies: rules that hold for every device they apply to, and accepted exceptions."""

from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from pattress.model.vocabulary import Value

Severity = Literal["danger", "fault", "advice"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)

Comparison = Literal[
    "equal",
    "one_of",
    "at_least",
    "at_most",
    "between",
    "near",
    "matches",
    "version_at_least",
    "in_network",
    "present",
    "absent",
]
COMPARISONS: tuple[Comparison, ...] = get_args(Comparison)
PLANNED_COMPARISONS: tuple[Comparison, ...] = ("equal", "at_least", "at_most", "near", "version_at_least")
"""Comparisons that a `plan` requirement may name."""
RATED_COMPARISONS: tuple[Comparison, ...] = ("at_least", "at_most", "between")
"""Comparisons that a `data_sheet` requirement may name."""

Operand = Value | tuple[Value, ...]
Silence = Literal["unverified", "skip"]
"""What holds where the plan or the data sheet says nothing: the check cannot be made, or is left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """What one setting must be. `setting` may hold `*` for every channel.

    With `is_planned` the operand comes from the point's plan; `unplanned` says what holds where the plan is silent.
    With `rated` it comes from that field of the kind's data sheet; `unrated` says what holds where the sheet is silent.
    `within_pct` belongs to `near`: how far the value may be from the operand, in percent of it.
    """

    setting: str
    comparison: Comparison
    operand: Operand = True
    is_planned: bool = False
    unplanned: Silence = "unverified"
    rated: str | None = None
    unrated: Silence = "unverified"
    within_pct: float | None = None


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
    """One rule of a policy, with everything needed to explain its outcome to a person.

    `file` is the file that holds it, as faults name it; None for a rule of the program itself.
    """

    id: str
    title: str
    severity: Severity
    because: str
    fix: str
    requirements: tuple[Requirement, ...] = ()
    applies: Applies = Applies()
    cites: tuple[str, ...] = ()
    file: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """What one policy file changed of a rule in another that it includes.

    `fields` are the keys of the rule that were put in the place of the old ones. Where the rule was dropped and does
    not hold at all, `dropped` is what it was.
    """

    rule: str
    file: str
    fields: tuple[str, ...] = ()
    reason: str | None = None
    dropped: Rule | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """A provision that no setting of a device can show, and why: a policy claims no more than it checks."""

    provision: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """A named set of rules, with what its files have overridden and what they say is beyond them.

    `digest` is the SHA-256 of its file, or of the digests of all of its files where it includes others, so that a
    report can say which policy it used. `files` names them, the included before the including.
    """

    id: str
    title: str
    rules: tuple[Rule, ...]
    digest: str
    overridden: tuple[Override, ...] = ()
    beyond: tuple[Beyond, ...] = ()
    files: tuple[str, ...] = ()


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
