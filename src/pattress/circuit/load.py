"""How many amperes a load draws, and whether breaker, conductor and module carry them.

What belongs here: steady current. What does not: the first moment (`derating`), the dimmer's limits (`dimmer`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pattress.circuit import given
from pattress.circuit.working import DATA_SHEET, DERIVED, PLAN, Answer, Line, Verdict, is_within, percent, shown, step
from pattress.model.circuit import Load, LoadKind
from pattress.model.errors import CircuitError
from pattress.model.tables import ConductorSize, Figure, Tables

_THREE_PHASE = math.sqrt(3)
UNKNOWN_SOCKET = "What will be plugged into a socket is not known: it may draw all that the breaker lets through."
NO_DIVERSITY = "All pieces are taken to run together, at the power that is marked on them."


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """What one load draws from one phase. `is_known` is False where its power was not said: then it is 0 A."""

    current_a: float
    apparent_va: float
    power_factor: float
    is_continuous: bool
    is_known: bool = True

    def counted_a(self, factor: float) -> float:
        """Return the amperes that count where a continuous load counts so much."""
        return self.current_a * (factor if self.is_continuous else 1.0)


def current_a(
    power_w: float, voltage_v: float, *, power_factor: float = 1.0, phases: int = 1, efficiency: float = 1.0
) -> float:
    """Return the current of a load in amperes.

    Args:
        power_w: What the load gives off, in watts: for all but motors the same as what it takes up.
        voltage_v: Between the conductors, in volts; with three phases from phase to phase.
        power_factor: 0.001 to 1. Of direct current it is 1.
        phases: 1 or 3, the load being balanced.
        efficiency: Power out by power in, 0.001 to 1: of motors, whose plate names the power at the shaft.

    Raises:
        CircuitError: If a number cannot be.

    Source: derived, P = sqrt(phases) U I cos(phi) eta, of sinusoidal voltage and current.
    """
    given.not_negative(power_w, "power", "W")
    given.positive(voltage_v, "voltage", "V")
    given.share(power_factor, "power factor")
    given.share(efficiency, "efficiency")
    root = _THREE_PHASE if given.phases(phases) == 3 else 1.0
    return power_w / (root * voltage_v * power_factor * efficiency)


def kind_at(load: Load, voltage_v: float, tables: Tables, *, is_dc: bool = False) -> LoadKind:
    """Return the kind that a load counts as: an LED strip on mains is its supply, which is electronic."""
    is_on_mains = not is_dc and voltage_v > tables.value("extra_low_ac_v")
    return "electronic" if load.kind == "led-strip" and is_on_mains else load.kind


def power_factor_of(load: Load, voltage_v: float, tables: Tables, *, is_dc: bool = False) -> Figure:
    """Return the power factor that counts for a load: 1 of direct current, else its own, else its kind's."""
    if is_dc:
        return Figure(value=1.0, source=f"{DERIVED}: direct current")
    if load.power_factor is not None:
        return Figure(value=given.share(load.power_factor, "power factor"), source=PLAN)
    return tables.kinds[kind_at(load, voltage_v, tables)].power_factor


def draw_of(
    load: Load, voltage_v: float, tables: Tables, *, is_dc: bool = False, breaker_a: float | None = None
) -> Draw:
    """Return what a load draws from one phase at a voltage. The load's `total_w` is what it takes up.

    A contact free of potential carries a control current that does not count: 0 A. Sockets whose power is not said
    draw what the breaker lets through, where `breaker_a` is given. Any other load of 0 W is one whose power was not
    said: its draw is not known.

    Raises:
        CircuitError: If a number of the load cannot be.
    """
    total_w = _total_w(load)
    factor = power_factor_of(load, voltage_v, tables, is_dc=is_dc).value
    amperes = current_a(total_w, voltage_v, power_factor=factor)
    is_known = total_w > 0 or load.is_potential_free
    if not is_known and load.kind == "socket" and breaker_a is not None:
        amperes, is_known = given.positive(breaker_a, "breaker", "A"), True
    return Draw(
        current_a=amperes,
        apparent_va=amperes * voltage_v,
        power_factor=factor,
        is_continuous=load.is_continuous,
        is_known=is_known,
    )


def load_answer(
    load: Load, voltage_v: float, tables: Tables, *, is_dc: bool = False, phases: int = 1, efficiency: float = 1.0
) -> Answer:
    """Return a load's amperes and volt-amperes with the working; a `figure`.

    Values: `total_w`, `input_w`, `apparent_va`, `current_a`, `power_factor`.

    Raises:
        CircuitError: If a number cannot be.
    """
    if is_dc and phases != 1:
        raise CircuitError("direct current has no phases", where="phases", next_step="Use 1 with direct current.")
    total_w = _total_w(load)
    factor = power_factor_of(load, voltage_v, tables, is_dc=is_dc)
    amperes = current_a(total_w, voltage_v, power_factor=factor.value, phases=phases, efficiency=efficiency)
    input_w = total_w / efficiency
    apparent_va = input_w / factor.value
    root, formula = ("√3 · ", "I = S / (√3 · U)") if phases == 3 else ("", "I = S / U")
    lines = [_total_line(load, total_w)]
    if efficiency != 1.0:
        numbers = f"{shown(total_w)} W / {shown(efficiency)}"
        lines.append(step("power taken up", "P in = P / η", numbers, input_w, "W", DERIVED))
    numbers = f"{shown(input_w)} W / {shown(factor.value)}"
    lines.append(step("volt-amperes", "S = P / cos φ", numbers, apparent_va, "VA", f"cos φ: {factor.source}"))
    numbers = f"{shown(apparent_va)} VA / ({root}{shown(voltage_v)} V)"
    lines.append(step("current", formula, numbers, amperes, "A", DERIVED))
    return Answer(
        question="load",
        verdict="figure",
        sentence=f"{load.title}: {shown(amperes)} A at {shown(voltage_v)} V "
        f"({shown(input_w)} W, power factor {shown(factor.value)}).",
        values={
            "total_w": total_w,
            "input_w": input_w,
            "apparent_va": apparent_va,
            "current_a": amperes,
            "power_factor": factor.value,
        },
        lines=tuple(lines),
        cautions=(UNKNOWN_SOCKET,) if load.kind == "socket" else (NO_DIVERSITY,),
    )


def rating_answer(rated_current_a: float | None, rated_power_w: float | None, voltage_v: float) -> Answer:
    """Return the current that a module may carry at a voltage: the lower of its ampere and its watt rating.

    The watt rating is taken as volt-amperes, for it is the current that heats a contact. A `figure` with the value
    `rating_a`; `undecided` without it where the data sheet says neither.

    Raises:
        CircuitError: If a number cannot be.

    Source: common practice; data sheets write "16 A or 3500 W, whichever is reached first".
    """
    given.positive(voltage_v, "voltage", "V")
    lines: list[Line] = []
    limits: list[tuple[float, str]] = []
    if rated_current_a is not None:
        limit = given.positive(rated_current_a, "rated current", "A")
        limits.append((limit, f"its {shown(limit)} A"))
        lines.append(step("ampere rating", "I1", f"{shown(limit)} A", limit, "A", DATA_SHEET))
    if rated_power_w is not None:
        limit = given.positive(rated_power_w, "rated power", "W") / voltage_v
        limits.append((limit, f"its {shown(rated_power_w)} W"))
        numbers = f"{shown(rated_power_w)} W / {shown(voltage_v)} V"
        lines.append(step("watt rating as a current", "I2 = P / U", numbers, limit, "A", DATA_SHEET))
    if not limits:
        sentence = "The data sheet says neither amperes nor watts, so what the module may carry is not known."
        return Answer(question="rating", verdict="undecided", sentence=sentence)
    lowest, by = min(limits)
    if len(limits) > 1:
        numbers = f"min({', '.join(f'{shown(each)} A' for each, _ in limits)})"
        lines.append(step("rating that counts", "I = min(I1, I2)", numbers, lowest, "A", "common practice"))
    watts = lowest * voltage_v
    sentence = f"At {shown(voltage_v)} V the module may carry {shown(lowest)} A, that is {shown(watts)} VA, by {by}."
    return Answer(
        question="rating",
        verdict="figure",
        sentence=sentence,
        values={"rating_a": lowest, "rating_va": watts},
        lines=tuple(lines),
        cautions=("The rating holds for a resistive load in free air at the data sheet's own temperature.",),
    )


def breaker_answer(
    draws: Sequence[Draw],
    breaker_a: float,
    tables: Tables,
    *,
    size: ConductorSize | None = None,
    laying: str | None = None,
) -> Answer:
    """Return whether a breaker carries what its circuit draws, and the conductor both.

    Args:
        draws: Of every load on the circuit, from `draw_of`.
        breaker_a: The rating of the protective device, in amperes.
        tables: Their `continuous_factor` is 1.25 in the NEC family (a continuous load fills at most 80 %), 1 in the
            IEC family, where Ib <= In <= Iz.
        size: The circuit's conductor; None is that it was not said.
        laying: A way of laying of the tables; None is their own.

    Values: `design_a`, `counted_a`, `breaker_a`, and with a conductor `capacity_a`. `undecided` where it would fit but
    the conductor, or the power of some load, is not known.

    Raises:
        CircuitError: If a number cannot be, or the way of laying is not in the tables.

    Source: NEC Article 100, 210.19(A)(1), 210.20(A), 240.4(D); IEC 60364-4-43 section 433.1.
    """
    given.positive(breaker_a, "breaker", "A")
    counted, lines = _counted(draws, tables)
    design_a = sum(draw.current_a for draw in draws)
    is_carried = is_within(counted, breaker_a)
    lines.append(step("breaker", "I counted ≤ In", f"{shown(counted)} A ≤ {shown(breaker_a)} A", breaker_a, "A", PLAN))
    values = {"design_a": design_a, "counted_a": counted, "breaker_a": breaker_a}
    factor = tables.value("continuous_factor")
    how = (
        f"{shown(counted)} A counted"
        if factor == 1.0
        else f"{shown(counted)} A with continuous loads at {percent(factor)}"
    )
    says = [f"{how} {'are within' if is_carried else 'are more than'} the breaker's {shown(breaker_a)} A."]
    cautions: list[str] = []
    is_protected = True
    if size is None:
        says.append("The conductor was not said, so whether the breaker protects it was not judged.")
    else:
        capacity = capacity_of(size, tables, laying)
        values["capacity_a"] = capacity.value
        numbers = f"{shown(breaker_a)} A ≤ {shown(capacity.value)} A"
        lines.append(step(f"conductor {size.name}", "In ≤ Iz", numbers, capacity.value, "A", capacity.source))
        is_protected = is_within(breaker_a, capacity.value)
        word = "protects" if is_protected else "does not protect"
        says.append(f"A breaker of {shown(breaker_a)} A {word} {size.name} with its {shown(capacity.value)} A.")
        cautions.append("Grouped cables, thermal insulation and warm places lower what a conductor carries.")
    verdict: Verdict = "fits" if is_carried and is_protected else "unfit"
    if not all(draw.is_known for draw in draws):
        says.append("The power of some load was not said, so it was not counted.")
    if verdict == "fits" and (size is None or not all(draw.is_known for draw in draws)):
        verdict = "undecided"
    return Answer(
        question="breaker",
        verdict=verdict,
        sentence=" ".join(says),
        values=values,
        lines=tuple(lines),
        cautions=tuple(cautions),
    )


def capacity_of(size: ConductorSize, tables: Tables, laying: str | None = None) -> Figure:
    """Return the largest breaker that a conductor may have: by its capacity, or by a rule of the family if lower.

    Raises:
        CircuitError: If the way of laying is not in the tables, or they say nothing of this size.
    """
    way = tables.laying if laying is None else given.one_of(laying, "way of laying", tables.ways)
    limits = [one for one in (size.capacity_a.get(way), size.breaker_a) if one is not None]
    if not limits:
        known = [one.name for one in tables.sizes if way in one.capacity_a or one.breaker_a is not None]
        raise CircuitError(
            f"the tables say nothing of what {size.name} carries",
            where="conductor",
            next_step=f"Use one of {', '.join(known)}, or give its capacity in tables.toml.",
        )
    return min(limits, key=lambda one: one.value)


def _counted(draws: Sequence[Draw], tables: Tables) -> tuple[float, list[Line]]:
    factor = tables.figure("continuous_factor")
    continuous = sum(draw.current_a for draw in draws if draw.is_continuous)
    other = sum(draw.current_a for draw in draws if not draw.is_continuous)
    counted = other + factor.value * continuous
    hours = tables.value("continuous_h")
    numbers = f"{shown(other)} A + {shown(factor.value)} · {shown(continuous)} A"
    formula = "I counted = I other + k · I continuous"
    what = f"load as it counts, continuous being {shown(hours)} h or more"
    return counted, [step(what, formula, numbers, counted, "A", factor.source)]


def _total_w(load: Load) -> float:
    given.whole(load.count, "count")
    if load.strip_w_per_m is not None or load.strip_m is not None:
        given.not_negative(load.strip_w_per_m or 0.0, "power of the strip", "W/m")
        given.not_negative(load.strip_m or 0.0, "length of the strip", "m")
    return given.not_negative(load.total_w, "power", "W")


def _total_line(load: Load, total_w: float) -> Line:
    if load.strip_w_per_m is not None and load.strip_m is not None:
        numbers = f"{shown(load.strip_w_per_m)} W/m · {shown(load.strip_m)} m · {load.count}"
        return step("power", "P = p · l · n", numbers, total_w, "W", PLAN)
    return step("power", "P = p · n", f"{shown(load.power_w)} W · {load.count}", total_w, "W", PLAN)
