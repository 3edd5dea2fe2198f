"""What every question of fitness is asked with, and the form of its outcome.

What belongs here: the parts that the questions share, and words for loads. What does not: any question.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from pattress.circuit.working import Answer, Verdict, shown
from pattress.model.circuit import Circuit, Load
from pattress.model.errors import CircuitError
from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.plan import Point
from pattress.model.profile import DataSheet, Profile
from pattress.model.rules import Rule
from pattress.model.tables import Tables
from pattress.policy.fit_rules import EXPECTED

LAMPS = ("incandescent", "halogen", "led-lamp", "fluorescent", "led-strip")
"""The kinds of load that are lamps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The outcome of one question about one planned module, or one channel of it.

    `sentence` has the numbers, or says what is missing, without a full stop; `answer` is the working where something
    was computed.
    """

    rule: Rule
    outcome: Outcome
    sentence: str
    channel: str | None = None
    answer: Answer | None = None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the sentence does not cover."""
        return self.answer.cautions if self.answer is not None else ()

    def finding(self, subject: Subject) -> Finding:
        """Return it as a finding about a point."""
        expected = EXPECTED[self.rule.id] + (f" ({self.channel})" if self.channel else "")
        return Finding(self.rule, subject, None, self.outcome, expected, remark=self.sentence)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A planned module at its circuit: all that the questions may look at."""

    point: Point
    circuit: Circuit
    profile: Profile
    tables: Tables

    @property
    def sheet(self) -> DataSheet:
        """The kind's data sheet."""
        return self.profile.data_sheet

    @property
    def is_extra_low(self) -> bool:
        """Whether the circuit itself is at extra-low voltage."""
        name = "extra_low_dc_v" if self.circuit.is_dc else "extra_low_ac_v"
        return self.circuit.voltage_v <= self.tables.value(name)

    def at(self, channel: str) -> tuple[Load, ...]:
        """Return the loads at a channel."""
        return tuple(load for load in self.circuit.loads if load.channel == channel)

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that feed something, in order."""
        return tuple(dict.fromkeys(load.channel for load in self.circuit.loads))

    def is_fed_elsewhere(self, load: Load) -> bool:
        """Whether a load is on a circuit of its own, whose voltage the plan does not say."""
        return load.is_potential_free or (load.is_extra_low_voltage and not self.is_extra_low)

    def described(self, load: Load) -> Load:
        """Return a load whose name says what it is, for a sentence: "six downlights (6 × 9 W led-lamp at 230 V)"."""
        what = " ".join(word for word in (pieces(load), load.kind) if word)
        if not self.is_fed_elsewhere(load):
            what += f" at {shown(self.circuit.voltage_v)} V"
        return replace(load, name=f"{load.name} ({what})" if load.name else what)


OUTCOMES: Mapping[Verdict, Outcome] = {"fits": "met", "unfit": "broken", "undecided": "unverified", "figure": "met"}


def pieces(load: Load) -> str:
    """Return the power of a load as a person counts it: "6 × 9 W", "14.4 W/m × 5 m"; nothing where none is said."""
    if load.strip_w_per_m is not None and load.strip_m is not None:
        each = f"{shown(load.strip_w_per_m)} W/m × {shown(load.strip_m)} m"
    elif load.power_w > 0:
        each = f"{shown(load.power_w)} W"
    else:
        return f"{load.count}" if load.count > 1 else ""
    return f"{load.count} × {each}" if load.count > 1 else each


def title_of(load: Load) -> str:
    """Return what a person calls a load."""
    return load.name or f"the {load.kind} load at {load.channel}"


def asked(rule: Rule, ask: Callable[[], Answer], *, channel: str | None = None, prefix: str = "") -> Fit:
    """Return the outcome of a question that `circuit` answers. What it cannot be asked with is unverified."""
    try:
        answer = ask()
    except CircuitError as error:
        return silent(rule, f"{prefix}{str(error).rstrip('.')}", channel=channel)
    sentence = prefix + answer.sentence.rstrip(".")
    return Fit(rule=rule, outcome=OUTCOMES[answer.verdict], sentence=sentence, channel=channel, answer=answer)


def silent(rule: Rule, why: str, *, channel: str | None = None) -> Fit:
    """Return that a question could not be judged, and why."""
    return Fit(rule=rule, outcome="unverified", sentence=why, channel=channel)


def worst(judged: Iterable[Fit | Finding]) -> Outcome:
    """Return the outcome over several: broken before unverified before met."""
    seen = {one.outcome for one in judged}
    return next((outcome for outcome in ("broken", "unverified") if outcome in seen), "met")
