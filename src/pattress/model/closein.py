"""The close-in check of a point: its steps, and what each of them showed.

What belongs here: the nouns. What does not: running the steps, keeping them, showing them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, get_args

from pattress.model.vocabulary import Value

StepOutcome = Literal["met", "broken", "unverified", "skipped"]
StepKind = Literal[
    "found", "recognised", "settings", "fit", "input", "drive", "output", "radio", "heat", "power-cut", "outside",
    "sign-off",
]  # fmt: skip
"""In the order in which they are done. Those of inputs, what they drive, and outputs are done for each channel."""

STEP_KINDS: tuple[StepKind, ...] = get_args(StepKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One value that was read at one moment, by its name in the vocabulary."""

    at: datetime
    name: str
    value: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class StepResult:
    """How one step ended, at the first or a later try. `step` is its kind, or kind and channel: `input.1`.

    `sentence` says in words what was found, or why nothing could be, or why it was skipped. `facts` are numbers that it
    rests on, each name with its unit (`settles_c`); `samples` everything that was read on the way. `number` counts the
    tries of a step from 1; whoever keeps a result gives it its number.
    """

    step: str
    title: str
    outcome: StepOutcome
    sentence: str
    began_at: datetime
    ended_at: datetime
    facts: Mapping[str, Value] = field(default_factory=dict)
    samples: tuple[Sample, ...] = ()
    number: int = 1

    @property
    def kind(self) -> str:
        """The kind of step, without its channel."""
        return self.step.split(".", 1)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseIn:
    """One close-in check. `results` holds the newest result of each step, in the order of the steps.

    `ended_at` is None until it was signed off or given up; `is_signed_off` whether a person agreed to it. `planned` is
    what the site's files said of the point when it was begun or last taken up, by name: the plan may change, a check
    that has ended does not.
    """

    id: int
    point: str
    who: str
    began_at: datetime
    device: str | None = None
    ended_at: datetime | None = None
    is_signed_off: bool = False
    planned: Mapping[str, Value] = field(default_factory=dict)
    results: tuple[StepResult, ...] = ()


def step_order(step: str) -> tuple[int, tuple[tuple[int, str], ...]]:
    """Return what sorts steps into the order in which they are done, those of one kind by their channel's number."""
    kind, _, channel = step.partition(".")
    place = STEP_KINDS.index(kind) if kind in STEP_KINDS else len(STEP_KINDS)
    parts = channel.split(".")
    return place, tuple((int(part), "") if part.isascii() and part.isdigit() else (-1, part) for part in parts)
