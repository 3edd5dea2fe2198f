"""Copper conductors: their size by gauge or area, and their resistance at a temperature.

What belongs here: one conductor. What does not: a circuit's voltage drop (`voltage_drop`).
"""

import math

from pattress.circuit import given
from pattress.circuit.working import DERIVED, Answer, Line, shown, step
from pattress.model.circuit import Conductors
from pattress.model.errors import CircuitError
from pattress.model.tables import CONSTRUCTIONS, ConductorSize, Construction, Figure, Tables

THICKEST_AWG, THINNEST_AWG = -3, 40  # 4/0 is -3 by the formula; below 40 no house wire is made
_MM2 = 1e-6


def awg_diameter_m(gauge: int) -> float:
    """Return the diameter of a solid wire of a gauge in metres: 0.127 mm * 92**((36 - n) / 39).

    Args:
        gauge: AWG number, -3 (4/0) to 40.

    Raises:
        CircuitError: If there is no such gauge.

    Source: ASTM B258.
    """
    given.whole(gauge, "AWG", least=THICKEST_AWG, most=THINNEST_AWG)
    return float(0.127e-3 * 92 ** ((36 - gauge) / 39))


def awg_area_m2(gauge: int) -> float:
    """Return the cross section of a solid wire of a gauge in square metres.

    Raises:
        CircuitError: If there is no such gauge.

    Source: ASTM B258 for the diameter; derived.
    """
    return math.pi * awg_diameter_m(gauge) ** 2 / 4


def resistivity_ohm_m(temperature_c: float, tables: Tables) -> float:
    """Return copper's resistivity at a temperature in ohm metres, linear from 20 degrees Celsius.

    Valid from -60 to 250 degrees Celsius.

    Raises:
        CircuitError: If the temperature is beyond.

    Source: NBS Handbook 100: 0.017241 ohm mm²/m at 20 degrees, 0.00393 per kelvin.
    """
    return tables.value("copper_ohm_m") * _warming(temperature_c, tables)


def wire_ohm_per_m(area_m2: float, temperature_c: float, tables: Tables) -> float:
    """Return the resistance of a solid copper wire in ohms for each metre, by its area alone.

    Raises:
        CircuitError: If area or temperature cannot be.

    Source: derived, R = rho / A.
    """
    return resistivity_ohm_m(temperature_c, tables) / given.positive(area_m2, "area", "m²")


def ohm_per_m(
    size: ConductorSize, tables: Tables, *, temperature_c: float, construction: Construction = "solid"
) -> Figure:
    """Return the resistance of one conductor of a size in ohms for each metre, one way.

    The table's value counts, carried to the temperature; where the table has none of this construction, the formula
    does.

    Raises:
        CircuitError: If the temperature or the construction cannot be.

    Source: the table named in the figure; derived for the temperature.
    """
    given.one_of(construction, "construction", CONSTRUCTIONS)
    listed = size.ohm_per_km.get(construction)
    if listed is None:
        return derived_ohm_per_m(size.area_mm2 * _MM2, tables, temperature_c=temperature_c, construction=construction)
    ratio = _warming(temperature_c, tables) / _warming(tables.resistance_c, tables)
    return Figure(value=listed.value / 1000 * ratio, source=listed.source)


def derived_ohm_per_m(area_m2: float, tables: Tables, *, temperature_c: float, construction: Construction) -> Figure:
    """Return the resistance of a conductor of which no table tells, in ohms for each metre, one way.

    Raises:
        CircuitError: If area or temperature cannot be.

    Source: derived, rho / A; of fine wires times `fine_strand_factor` of the tables.
    """
    solid = wire_ohm_per_m(area_m2, temperature_c, tables)
    source = f"{DERIVED}: ρ / A, {tables.figure('copper_ohm_m').source}"
    if construction != "flexible":
        return Figure(value=solid, source=source)
    factor = tables.figure("fine_strand_factor")
    return Figure(value=solid * factor.value, source=f"{source}; {factor.source}")


def size_of(conductors: Conductors, tables: Tables) -> ConductorSize:
    """Return the size in the tables that a plan's conductors have.

    Raises:
        CircuitError: If the tables have none of that gauge or area, with the nearest that they have; or if not
            exactly one of `mm2` and `awg` is given.
    """
    if (conductors.mm2 is None) == (conductors.awg is None):
        raise CircuitError("not exactly one of mm2 and AWG", where="conductor", next_step="Give one of the two.")
    if conductors.awg is not None:
        return _by_gauge(conductors.awg, tables)
    return _by_area(conductors.mm2 or 0.0, tables)


def size_named(text: str, tables: Tables) -> ConductorSize:
    """Return the size that a person wrote: "14 AWG", "AWG 14", "1.5 mm2", "1.5".

    A number alone is a gauge where the tables have gauges only, else an area.

    Raises:
        CircuitError: If it is none of the tables, with the nearest.
    """
    word = text.strip().lower().replace("mm²", "mm2").replace("#", "")
    is_gauge = "awg" in word or (not word.endswith("mm2") and all(one.awg is not None for one in tables.sizes))
    number = word.replace("awg", "").removesuffix("mm2").strip()
    try:
        value = float(number)
    except ValueError:
        close = given.nearest(text, [one.name for one in tables.sizes])
        raise _no_size(f"there is no conductor {text!r}", close, tables) from None
    if not is_gauge:
        return _by_area(value, tables)
    if not value.is_integer():
        raise _no_size(f"{number} is no gauge", None, tables)
    return _by_gauge(int(value), tables)


def conductor_answer(
    size: ConductorSize, tables: Tables, *, temperature_c: float, construction: Construction = "solid"
) -> Answer:
    """Return what one conductor is: area, resistance at a temperature, and what the family says of it; a `figure`.

    Values: `area_mm2`, `ohm_per_km`, `formula_ohm_per_km`, `diameter_mm` (of a solid wire), and where the tables have
    them `capacity_a`, `breaker_a`, `box_cm3`.

    Raises:
        CircuitError: If the temperature or the construction cannot be.
    """
    resistance = ohm_per_m(size, tables, temperature_c=temperature_c, construction=construction)
    formula = wire_ohm_per_m(size.area_mm2 * _MM2, temperature_c, tables)
    diameter_mm = 2 * math.sqrt(size.area_mm2 / math.pi)
    values = {
        "area_mm2": size.area_mm2,
        "diameter_mm": diameter_mm,
        "ohm_per_km": resistance.value * 1000,
        "formula_ohm_per_km": formula * 1000,
    }
    rho = resistivity_ohm_m(temperature_c, tables)
    copper, per_k = tables.figure("copper_ohm_m"), tables.value("copper_per_k")
    lines = [
        _area_line(size),
        step(
            "copper at its temperature",
            "ρ = ρ20 · (1 + α · (T - 20 °C))",
            f"{shown(copper.value * 1e9)} nΩ·m · (1 + {shown(per_k)}/K · {shown(temperature_c - 20)} K)",
            rho * 1e9,
            "nΩ·m",
            copper.source,
        ),
        step("by the formula", *_by_formula(size, temperature_c, tables, "solid"), formula * 1000, "Ω/km", DERIVED),
        resistance_line(size, tables, temperature_c=temperature_c, construction=construction),
    ]
    for name, what, sign, found, unit in (
        ("capacity_a", f"carries, {tables.ways[tables.laying]}", "Iz", size.capacity_a.get(tables.laying), "A"),
        ("breaker_a", "largest breaker", "In max", size.breaker_a, "A"),
        ("box_cm3", "room in a box", "V", size.box_cm3, "cm³"),
        ("mv_per_a_m", "drop of two conductors", "ΔU", size.mv_per_a_m, "mV/A/m"),
    ):
        if found is not None:
            values[name] = found.value
            lines.append(step(what, f"{sign} of {size.name}", "", found.value, unit, found.source))
    area = "" if size.awg is None else f"{shown(size.area_mm2)} mm² and "
    sentence = f"{size.name} has {area}{shown(resistance.value * 1000)} Ω/km at {shown(temperature_c)} °C."
    return Answer(question="conductor", verdict="figure", sentence=sentence, values=values, lines=tuple(lines))


def resistance_line(
    size: ConductorSize, tables: Tables, *, temperature_c: float, construction: Construction = "solid"
) -> Line:
    """Return the step of a working that finds what `ohm_per_m` returns, in ohms for each kilometre.

    Raises:
        CircuitError: If the temperature or the construction cannot be.
    """
    found = ohm_per_m(size, tables, temperature_c=temperature_c, construction=construction)
    what = f"resistance of {size.name}, {construction}, at {shown(temperature_c)} °C"
    listed = size.ohm_per_km.get(construction)
    if listed is None:
        formula, numbers = _by_formula(size, temperature_c, tables, construction)
    else:
        formula = "R' = R' table · (1 + α · (T - 20 °C)) / (1 + α · (T table - 20 °C))"
        factors = [f"{_warming(each_c, tables):.4f}" for each_c in (temperature_c, tables.resistance_c)]
        numbers = f"{shown(listed.value)} Ω/km · {' / '.join(factors)}"
    return step(what, formula, numbers, found.value * 1000, "Ω/km", found.source)


def _by_formula(
    size: ConductorSize, temperature_c: float, tables: Tables, construction: Construction
) -> tuple[str, str]:
    """The resistance by area alone, as a formula and with its numbers put in."""
    numbers = f"{shown(resistivity_ohm_m(temperature_c, tables) * 1e9)} nΩ·m / {shown(size.area_mm2)} mm²"
    if construction != "flexible":
        return "R' = ρ / A", numbers
    return "R' = k · ρ / A", f"{shown(tables.value('fine_strand_factor'))} · {numbers}"


def _area_line(size: ConductorSize) -> Line:
    if size.awg is None:
        return step("area", f"A of {size.name}", "", size.area_mm2, "mm²", "IEC 60228")
    numbers = f"π / 4 · ({shown(awg_diameter_m(size.awg) * 1000)} mm)²"
    return step(
        "area",
        "A = π / 4 · (0.127 mm · 92^((36 - n) / 39))²",
        numbers,
        awg_area_m2(size.awg) / _MM2,
        "mm²",
        "ASTM B258",
    )


def _warming(temperature_c: float, tables: Tables) -> float:
    return 1 + tables.value("copper_per_k") * (given.temperature(temperature_c, "temperature of the conductor") - 20)


def _by_gauge(gauge: int, tables: Tables) -> ConductorSize:
    found = next((one for one in tables.sizes if one.awg == gauge), None)
    if found is None:
        nearest = min(max(gauge, THICKEST_AWG), THINNEST_AWG)
        raise _no_size(f"there is no conductor of {gauge} AWG", _closest(awg_area_m2(nearest) / _MM2, tables), tables)
    return found


def _by_area(area_mm2: float, tables: Tables) -> ConductorSize:
    given.positive(area_mm2, "conductor", "mm²")
    metric = [one for one in tables.sizes if one.awg is None]
    found = next((one for one in metric if math.isclose(one.area_mm2, area_mm2, rel_tol=1e-6)), None)
    if found is None:
        raise _no_size(f"there is no conductor of {shown(area_mm2)} mm²", _closest(area_mm2, tables), tables)
    return found


def _closest(area_mm2: float, tables: Tables) -> str:
    """The name of the size nearest in ratio; of two as near the thicker, which is the safer guess."""
    return min(tables.sizes, key=lambda one: (round(abs(math.log(one.area_mm2 / area_mm2)), 6), -one.area_mm2)).name


def _no_size(what: str, close: str | None, tables: Tables) -> CircuitError:
    hint = f"Did you mean {close}? " if close else ""
    names = ", ".join(one.name for one in tables.sizes)
    return CircuitError(
        f"{what} in the tables of {tables.title}", where="conductor", next_step=f"{hint}They have {names}."
    )
