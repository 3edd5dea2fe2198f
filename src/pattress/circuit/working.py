"""The one form that every answer of this room has: a verdict in a sentence, and the working line by line.

What belongs here: the form, and words that all answers share. What does not: any formula.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from pattress.model.tables import Figure

Verdict = Literal["fits", "unfit", "undecided", "figure"]
"""`fits` and `unfit` judge; `undecided` says that a fact is missing; `figure` computes without judging."""

LAST_WORD = (
    "The code in force at the place and a licensed electrician have the last word: "
    "this is a calculation and no inspection."
)

DERIVED = "derived"
DATA_SHEET = "the module's data sheet"
PLAN = "as asked"
ROUNDING = 1e-9
"""Share by which a limit may be passed: 16 A x 1.25 is 20 A, whatever the last bit of a float says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One step of a working: `what` is found by `formula`, with `numbers` put in, to be `result` in `unit`.

    `source` is a standard with its section, "common practice", "derived", or where else the step comes from. A step
    that gives no number has None for `result`.
    """

    what: str
    formula: str
    numbers: str
    result: float | None
    unit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one question gave. `values` are numbers by name, each name with its unit (`current_a`).

    `sentence` says the verdict with its numbers; `cautions` what it does not cover. `last_word` stands in every one.
    """

    question: str
    verdict: Verdict
    sentence: str
    values: Mapping[str, float] = field(default_factory=dict)
    lines: tuple[Line, ...] = ()
    cautions: tuple[str, ...] = ()
    last_word: str = LAST_WORD


def step(what: str, formula: str, numbers: str, result: float | None, unit: str, source: str) -> Line:
    """Return a line of a working."""
    return Line(what=what, formula=formula, numbers=numbers, result=result, unit=unit, source=source)


def continuous_line(sign: str, value: float, unit: str, factor: Figure) -> Line:
    """Return the line that says what a continuous load of so many `unit` counts; `sign` is I or P."""
    numbers = f"{shown(factor.value)} · {shown(value)} {unit}"
    what, formula = "as it counts, being continuous", f"{sign} counted = k · {sign}"
    return step(what, formula, numbers, factor.value * value, unit, factor.source)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the verdict over several: unfit before undecided before fits. Of none, or of figures alone: figure."""
    seen = set(verdicts)
    order: tuple[Verdict, ...] = ("unfit", "undecided", "fits")
    return next((verdict for verdict in order if verdict in seen), "figure")


def joined(question: str, answers: Iterable[Answer]) -> Answer:
    """Return several answers as one: every line and caution once, in order, and the sentences of the worst verdict.

    Where all fits, the sentences of those that only compute stand there as well.
    """
    parts = list(answers)
    verdict = worst(part.verdict for part in parts)
    told = (verdict, "figure") if verdict == "fits" else (verdict,)
    values: dict[str, float] = {}
    for part in parts:
        values.update(part.values)
    return Answer(
        question=question,
        verdict=verdict,
        sentence=" ".join(part.sentence for part in parts if part.verdict in told),
        values=values,
        lines=tuple(dict.fromkeys(line for part in parts for line in part.lines)),
        cautions=tuple(dict.fromkeys(caution for part in parts for caution in part.cautions)),
    )


def is_within(value: float, limit: float) -> bool:
    """Whether a value is at most a limit, but for rounding."""
    return value <= limit * (1 + ROUNDING)


def shown(value: float) -> str:
    """Return a number with four significant digits, as a person writes it: "0.026", "15.22", "3500"."""
    if value != 0 and not 1e-6 <= abs(value) < 1e12:
        return f"{value:.3e}"
    if abs(value) >= 1000:
        return f"{value:.0f}"
    rounded = float(f"{value:.4g}")
    return f"{rounded:.10f}".rstrip("0").rstrip(".") or "0"


def percent(share: float) -> str:
    """Return a share in percent: 0.034 is "3.4 %"."""
    return f"{shown(float(f'{share * 100:.3g}'))} %"
