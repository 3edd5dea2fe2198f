"""Voltage drop along a run: lumped at its end or spread evenly, and the longest run for a given drop.

Resistance only: in conductors up to 16 mm² the reactance changes the drop of a building's wiring by less than one in a
hundred (BS 7671 Appendix 4 gives one figure for them, not two).
What belongs here: runs of copper. What does not: what a conductor's resistance is (`conductors`).
"""

import math
from typing import Literal

from pattress.circuit import given
from pattress.circuit.conductors import ohm_per_m, resistance_line
from pattress.circuit.working import DERIVED, PLAN, Answer, Line, is_within, percent, shown, step
from pattress.model.errors import CircuitError
from pattress.model.tables import ConductorSize, Construction, Figure, Tables

Use = Literal["lighting", "other"]
USES: tuple[Use, ...] = ("lighting", "other")
Spread = Literal["end", "even", "even-both-ends"]
SPREADS: tuple[Spread, ...] = ("end", "even", "even-both-ends")
"""Where a load draws its current: at the far end; evenly along the run, fed at one end; the same, fed at both ends."""

NO_START = "Motors draw several times their current when they start, and the drop is as many times larger."
_THICK_MM2 = 16.0


def drop_v(
    current_a: float, length_m: float, ohm_per_metre: float, *, phases: int = 1, spread: Spread = "end"
) -> float:
    """Return the voltage drop of a run in volts.

    Args:
        current_a: That flows into the run, in amperes.
        length_m: One way, in metres.
        ohm_per_metre: Of one conductor.
        phases: 1 (out and back: two conductors) or 3 (balanced, from phase to phase: sqrt(3)).
        spread: Where the current is drawn. Evenly along the run it drops half as much as at the end; fed at both ends
            an eighth, in the middle.

    Raises:
        CircuitError: If a number cannot be.

    Source: derived; for a uniformly loaded run the integral of I (1 - x/l) R' dx from 0 to l.
    """
    given.not_negative(current_a, "current", "A")
    given.not_negative(length_m, "length", "m")
    given.not_negative(ohm_per_metre, "resistance", "ohm/m")
    return current_a * length_m * ohm_per_metre * _ways(phases) * _share(spread)


def one_conductor_drop_v(current_a: float, length: float, ohm_per_length: float) -> float:
    """Return the drop along one conductor alone in volts, the return being a frame or another table's business.

    Length and resistance may be in any unit of length, the same for both.

    Raises:
        CircuitError: If a number cannot be.

    Source: Ohm's law, as FAA AC 43.13-1B Table 11-7 uses it.
    """
    given.not_negative(current_a, "current", "A")
    return given.not_negative(length, "length", "") * given.not_negative(ohm_per_length, "resistance", "") * current_a


def longest_m(
    current_a: float, allowed_v: float, ohm_per_metre: float, *, phases: int = 1, spread: Spread = "end"
) -> float:
    """Return the longest run, one way in metres, that drops no more than `allowed_v`.

    With an even spread the current is that of the whole run, whatever its length.

    Raises:
        CircuitError: If a number cannot be, or is nought: no current drops nothing over any length.

    Source: derived from `drop_v`.
    """
    given.positive(current_a, "current", "A")
    given.positive(allowed_v, "allowed drop", "V")
    given.positive(ohm_per_metre, "resistance", "ohm/m")
    return allowed_v / (current_a * ohm_per_metre * _ways(phases) * _share(spread))


def warm_length(length: float, conductor_c: float) -> float:
    """Return the length that drops as much in a warm conductor as `length` does at 20 degrees Celsius.

    L2 = 254.5 L1 / (234.5 + T2), T2 in degrees Celsius; the unit of length is kept.

    Raises:
        CircuitError: If a number cannot be.

    Source: FAA AC 43.13-1B CHG 1, chapter 11, section 5, paragraph (4) of its wire chart's notes.
    """
    given.not_negative(length, "length", "")
    return 254.5 * length / (234.5 + given.temperature(conductor_c, "temperature of the conductor"))


def published_drop_v(mv_per_a_m: float, current_a: float, length_m: float) -> float:
    """Return the drop of a cable in volts by its published millivolts for each ampere and metre, both conductors.

    Raises:
        CircuitError: If a number cannot be.

    Source: BS 7671 Appendix 4, section 6.
    """
    given.not_negative(mv_per_a_m, "drop", "mV/A/m")
    given.not_negative(current_a, "current", "A")
    return mv_per_a_m * current_a * given.not_negative(length_m, "length", "m") / 1000


def allowed_share(use: Use, tables: Tables) -> Figure:
    """Return the largest drop of a circuit as a share of its nominal voltage.

    Raises:
        CircuitError: If the use is not one of `USES`.
    """
    given.one_of(use, "use", USES)
    return tables.figure("drop_lighting_share" if use == "lighting" else "drop_other_share")


def allowed_line(limit: Figure, voltage_v: float) -> Line:
    """Return the line of a working that makes volts of an allowed share."""
    numbers = f"{percent(limit.value)} · {shown(voltage_v)} V"
    return step("allowed", "ΔU max = a · U", numbers, limit.value * voltage_v, "V", limit.source)


def drop_answer(
    current_a: float,
    length_m: float,
    size: ConductorSize,
    voltage_v: float,
    tables: Tables,
    *,
    use: Use = "lighting",
    phases: int = 1,
    temperature_c: float | None = None,
    construction: Construction = "solid",
    spread: Spread = "end",
    allowed: float | None = None,
) -> Answer:
    """Return whether a run drops no more than it may, with the drop at its end.

    Args:
        current_a: In amperes.
        length_m: One way, in metres.
        size: Of the tables.
        voltage_v: Nominal, in volts; with three phases from phase to phase.
        tables: Resistances and limits.
        use: Which limit of the tables counts.
        phases: 1 or 3.
        temperature_c: Of the conductor under load; None is the tables' own.
        construction: How the conductor is made.
        spread: Where the current is drawn.
        allowed: A limit of the asker's own as a share, in the place of the tables'.

    Values: `drop_v`, `drop_share`, `allowed_v`, `at_load_v`, `longest_m` (without a current: none).

    Raises:
        CircuitError: If a number cannot be.
    """
    given.positive(voltage_v, "voltage", "V")
    limit = allowed_share(use, tables) if allowed is None else Figure(value=_allowed(allowed), source=PLAN)
    resistance, of_size = _resistance(size, tables, temperature_c, construction)
    drop = drop_v(current_a, length_m, resistance.value, phases=phases, spread=spread)
    allowed_v = limit.value * voltage_v
    is_small = is_within(drop, allowed_v)
    formula, ways = _formula(phases, spread)
    lines = [
        *of_size,
        step(
            "drop",
            formula,
            f"{ways} · {shown(current_a)} A · {shown(length_m)} m · {shown(resistance.value * 1000)} mΩ/m",
            drop,
            "V",
            DERIVED,
        ),
    ]
    lines.append(allowed_line(limit, voltage_v))
    values = {"drop_v": drop, "drop_share": drop / voltage_v, "allowed_v": allowed_v, "at_load_v": voltage_v - drop}
    says = (
        f"{shown(current_a)} A over {shown(length_m)} m of {size.name} drop {shown(drop)} V "
        f"({percent(drop / voltage_v)}); {shown(allowed_v)} V ({percent(limit.value)}) are allowed."
    )
    if current_a > 0:
        values["longest_m"] = longest_m(current_a, allowed_v, resistance.value, phases=phases, spread=spread)
        says += f" The longest run is {shown(values['longest_m'])} m."
    cautions = [NO_START]
    if size.area_mm2 > _THICK_MM2:
        cautions.append("Of conductors above 16 mm² reactance matters too, and was not counted.")
    return Answer(
        question="drop",
        verdict="fits" if is_small else "unfit",
        sentence=says,
        values=values,
        lines=tuple(lines),
        cautions=tuple(cautions),
    )


def run_answer(
    current_a: float,
    size: ConductorSize,
    voltage_v: float,
    tables: Tables,
    *,
    use: Use = "lighting",
    phases: int = 1,
    temperature_c: float | None = None,
    construction: Construction = "solid",
    spread: Spread = "end",
    allowed: float | None = None,
) -> Answer:
    """Return how long a run may be, one way, for the drop that is allowed; a `figure`.

    Arguments as of `drop_answer`. Values: `longest_m`, `allowed_v`, `ohm_per_km`.

    Raises:
        CircuitError: If a number cannot be.
    """
    given.positive(voltage_v, "voltage", "V")
    limit = allowed_share(use, tables) if allowed is None else Figure(value=_allowed(allowed), source=PLAN)
    resistance, of_size = _resistance(size, tables, temperature_c, construction)
    allowed_v = limit.value * voltage_v
    length = longest_m(current_a, allowed_v, resistance.value, phases=phases, spread=spread)
    _, ways = _formula(phases, spread)
    return Answer(
        question="run",
        verdict="figure",
        sentence=f"{shown(current_a)} A may run {shown(length)} m of {size.name} one way until "
        f"{shown(allowed_v)} V ({percent(limit.value)}) are lost.",
        values={"longest_m": length, "allowed_v": allowed_v, "ohm_per_km": resistance.value * 1000},
        lines=(
            allowed_line(limit, voltage_v),
            *of_size,
            step(
                "longest run",
                "l = ΔU max / (k · I · R')",
                f"{shown(allowed_v)} V / ({ways} · {shown(current_a)} A · {shown(resistance.value * 1000)} mΩ/m)",
                length,
                "m",
                DERIVED,
            ),
        ),
        cautions=(NO_START,),
    )


def _resistance(
    size: ConductorSize, tables: Tables, temperature_c: float | None, construction: Construction
) -> tuple[Figure, list[Line]]:
    """The ohms of each metre, at the tables' own temperature where none is given, and the lines that say so.

    Where the temperature is the tables' own, the published drop of a cable counts if it is the larger.
    """
    at_c = tables.value("conductor_c") if temperature_c is None else temperature_c
    found = ohm_per_m(size, tables, temperature_c=at_c, construction=construction)
    lines = [resistance_line(size, tables, temperature_c=at_c, construction=construction)]
    published = size.mv_per_a_m
    if published is None or temperature_c is not None or construction == "flexible":
        return found, lines
    of_cable = Figure(value=published_drop_v(published.value, 1, 1) / 2, source=published.source)
    numbers = f"{shown(published.value)} mV/A/m / 2"
    what = "resistance by the published drop of two conductors; the larger counts"
    lines.append(step(what, "R' = (mV/A/m) / 2", numbers, of_cable.value * 1000, "Ω/km", of_cable.source))
    return max(found, of_cable, key=lambda one: one.value), lines


def _ways(phases: int) -> float:
    return math.sqrt(3) if given.phases(phases) == 3 else 2.0


def _share(spread: Spread) -> float:
    given.one_of(spread, "spread", SPREADS)
    return {"end": 1.0, "even": 1 / 2, "even-both-ends": 1 / 8}[spread]


def _formula(phases: int, spread: Spread) -> tuple[str, str]:
    ways = "√3" if phases == 3 else "2"
    part = {"end": "", "even": "1/2 · ", "even-both-ends": "1/8 · "}[spread]
    return f"ΔU = {part}{ways} · I · l · R'", f"{part}{ways}"


def _allowed(value: float) -> float:
    if isinstance(value, float | int) and 0.5 < value <= 100:
        hint = f"Write {value / 100:g} for {value:g} %."
        raise CircuitError(f"{value:g} is more than half of the voltage", where="allowed drop", next_step=hint)
    return given.share(value, "allowed drop")
