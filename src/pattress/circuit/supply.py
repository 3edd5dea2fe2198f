"""What a module needs of its place: supply, neutral, an isolated contact, and no mains beside extra-low voltage.

What belongs here: judging the place. What does not: the current through a contact (`derating`).
"""

import math
from collections.abc import Iterable, Mapping, Sequence

from pattress.circuit import given
from pattress.circuit.load import rating_answer
from pattress.circuit.working import DATA_SHEET, DERIVED, PLAN, Answer, Line, Verdict, is_within, shown, step
from pattress.model.circuit import Load, Separation
from pattress.model.errors import CircuitError
from pattress.model.tables import Tables

ISOLATE = "Isolate, lock off and prove dead before a box is opened; more than one supply may end in it."


def supply_answer(
    voltage_v: float,
    tables: Tables,
    *,
    is_dc: bool = False,
    supply_ac_v: tuple[float, float] | None,
    supply_dc_v: tuple[float, float] | None,
    led_supply_v: Sequence[float] = (),
) -> Answer:
    """Return whether a site's nominal voltage lies in a module's supply range.

    The mains may lie off its nominal voltage by `supply_tolerance_share` of the tables; where that leaves the range,
    a caution says so. An LED controller takes the voltages `led_supply_v` alone, where its data sheet lists some: they
    stand for its range of direct current where it names none. `undecided` where the data sheet names no range at all.
    Values: `voltage_v`, and of the range `lowest_v`, `highest_v`.

    Raises:
        CircuitError: If a number cannot be, or a range is upside down.

    Source: the ranges by the data sheet; IEC 60038 for the tolerance.
    """
    given.positive(voltage_v, "voltage", "V")
    current = "DC" if is_dc else "AC"
    if is_dc and led_supply_v and supply_ac_v is None and supply_dc_v is None:
        supply_dc_v = min(led_supply_v), max(led_supply_v)
    if supply_ac_v is None and supply_dc_v is None:
        sentence = f"The data sheet names no supply range, so {shown(voltage_v)} V {current} was not judged."
        return Answer(question="supply", verdict="undecided", sentence=sentence, values={"voltage_v": voltage_v})
    span = supply_dc_v if is_dc else supply_ac_v
    if span is None:
        sentence = f"The module takes no {current} supply, and the circuit is {shown(voltage_v)} V {current}."
        return Answer(question="supply", verdict="unfit", sentence=sentence, values={"voltage_v": voltage_v})
    lowest, highest = _span(span)
    is_inside = lowest <= voltage_v <= highest
    word = "within" if is_inside else "outside"
    tolerance = tables.figure("supply_tolerance_share")
    low, high = voltage_v * (1 - tolerance.value), voltage_v * (1 + tolerance.value)
    cautions = [ISOLATE]
    if is_inside and not is_dc and not (lowest <= low and high <= highest):
        cautions.append(
            f"The mains may lie between {shown(low)} and {shown(high)} V ({tolerance.source}); "
            f"the module is made for {shown(lowest)} to {shown(highest)} V."
        )
    numbers = f"{shown(lowest)} V ≤ {shown(voltage_v)} V ≤ {shown(highest)} V"
    sentence = f"{shown(voltage_v)} V {current} is {word} the module's range, {shown(lowest)} to {shown(highest)} V."
    is_listed = not led_supply_v or any(math.isclose(voltage_v, one) for one in led_supply_v)
    if is_inside and not is_listed:
        takes = " or ".join(shown(one) for one in led_supply_v)
        sentence = f"{shown(voltage_v)} V is none of the voltages that this LED controller takes ({takes} V)."
    return Answer(
        question="supply",
        verdict="fits" if is_inside and is_listed else "unfit",
        sentence=sentence,
        values={"voltage_v": voltage_v, "lowest_v": lowest, "highest_v": highest},
        lines=(step("supply range", "U min ≤ U ≤ U max", numbers, voltage_v, "V", DATA_SHEET),),
        cautions=tuple(cautions),
    )


def neutral_answer(needs_neutral: bool | None, has_neutral: bool | None) -> Answer:
    """Return whether a module has the neutral that it needs. None is that it is not known, on either side."""
    rule = "NEC 404.2(C) wants a neutral at the switches of most rooms; older boxes have none."
    if needs_neutral is False:
        sentence = "The module needs no neutral."
        return Answer(question="neutral", verdict="fits", sentence=sentence, cautions=(_LEAKS,))
    if needs_neutral is None and has_neutral is not True:
        sentence = "The data sheet does not say whether the module needs a neutral, and none is known to be in the box."
        return Answer(question="neutral", verdict="undecided", sentence=sentence, cautions=(rule,))
    if has_neutral is None:
        sentence = "The module needs a neutral; whether one is in the box was not said. Look into the box."
        return Answer(question="neutral", verdict="undecided", sentence=sentence, cautions=(ISOLATE, rule))
    if has_neutral:
        return Answer(question="neutral", verdict="fits", sentence="A neutral is in the box.", cautions=(_BORROWED,))
    sentence = "The module needs a neutral, and none is in the box."
    return Answer(question="neutral", verdict="unfit", sentence=sentence, cautions=(_NO_EARTH, rule))


def contact_answer(load: Load, has_isolated_contact: bool | None) -> Answer:
    """Return whether a contact suits a load that wants one free of potential, or does not want one."""
    name = load.name or f"what {load.channel} feeds"
    wants = load.is_potential_free or load.is_extra_low_voltage
    if not wants:
        sentence = f"{name} is fed at the supply's own voltage; any contact will do."
        return Answer(question="contact", verdict="fits", sentence=sentence)
    why = "wants a contact free of potential" if load.is_potential_free else "is extra-low voltage"
    if has_isolated_contact is None:
        sentence = f"{name} {why}; the data sheet does not say whether the contact is isolated."
        return Answer(question="contact", verdict="undecided", sentence=sentence)
    if has_isolated_contact:
        sentence = f"{name} {why}, and the module's contact is isolated from its supply."
        return Answer(question="contact", verdict="fits", sentence=sentence, cautions=(_BOTH_SIDES,))
    sentence = f"{name} {why}; this module's contact carries its supply's voltage and would put it there."
    return Answer(question="contact", verdict="unfit", sentence=sentence, cautions=(_BOTH_SIDES,))


def separation_answer(
    loads: Iterable[Load],
    voltage_v: float,
    tables: Tables,
    *,
    is_dc: bool = False,
    separation: Separation | None = None,
) -> Answer:
    """Return whether extra-low voltage is kept from mains in one box.

    Args:
        loads: What the module feeds. One at extra-low voltage at a module on mains brings both into its box.
        voltage_v: Of the module's circuit, in volts.
        tables: Their largest extra-low voltage.
        is_dc: Whether that is direct current.
        separation: How the two are kept apart, which also says that both are in the box; None where nothing is said.

    `unfit` where both are in the box and nothing keeps them apart, or nobody says what does. `fits` where something
    does; the sentence then says what must hold at the box. Values: `limit_v`, the largest extra-low voltage.

    Raises:
        CircuitError: If the voltage cannot be.

    Source: the ways of keeping apart by NEC 725.136 (barrier, distance) and by IEC 60364-4-41 section 414.4 and
    60364-5-52 section 528.1 (all three), from memory; the limits of extra-low voltage by the tables.
    """
    given.positive(voltage_v, "voltage", "V")
    limit = tables.figure("extra_low_dc_v" if is_dc else "extra_low_ac_v")
    is_mains = voltage_v > limit.value
    low = [load.name or load.channel for load in loads if load.is_extra_low_voltage]
    numbers = f"{shown(voltage_v)} V {'>' if is_mains else '≤'} {shown(limit.value)} V"
    line = step("largest extra-low voltage", "U ≤ U max", numbers, limit.value, "V", limit.source)
    values = {"limit_v": limit.value}
    if separation is None and not (is_mains and low):
        sentence = "No extra-low voltage is said to share the box with mains."
        return Answer(question="separation", verdict="fits", sentence=sentence, values=values, lines=(line,))
    what = f" ({', '.join(low)})" if low else ""
    mains = f"{shown(voltage_v)} V" if is_mains else "mains"
    is_apart = separation not in (None, "none")
    return Answer(
        question="separation",
        verdict="fits" if is_apart else "unfit",
        sentence=f"Extra-low voltage{what} and {mains} are in one box, {_KEPT_APART[separation]}.",
        values=values,
        lines=(line,),
        cautions=(*((_BY_THE_CONTACT,) if is_mains and low else ()), ISOLATE) if is_apart else (_APART,),
    )


def channels_answer(
    currents_a: Mapping[str, float],
    voltage_v: float,
    *,
    rated_current_a: float | None,
    rated_power_w: float | None = None,
    total_rated_a: float | None = None,
    breaker_a: float | None = None,
) -> Answer:
    """Return whether each channel of a module carries its current, and the module their sum.

    Args:
        currents_a: Amperes by channel name; plain sums of what each feeds, derating apart.
        voltage_v: Of the site, in volts.
        rated_current_a: Of one channel, in amperes; None where the data sheet says nothing.
        rated_power_w: Of one channel, in watts; None where the data sheet says nothing. With neither, what is not over
            a total is `undecided`.
        total_rated_a: Of the whole module, in amperes. Where the data sheet says nothing, the sum is held against the
            breaker, which all of it flows through; with neither it is `undecided` as soon as more than one channel
            carries anything.
        breaker_a: The rating of the protective device, in amperes.

    Values: `total_a`, `rating_a`, and `total_limit_a` where there is one.

    Raises:
        CircuitError: If a number cannot be.
    """
    rating = rating_answer(rated_current_a, rated_power_w, voltage_v)
    for name, amperes in currents_a.items():
        given.not_negative(amperes, name, "A")
    total = sum(currents_a.values())
    values = {"total_a": total, **rating.values}
    rated = rating.values.get("rating_a")
    over: list[str] = []
    lines = [*rating.lines]
    if rated is not None:
        for name, amperes in currents_a.items():
            lines.append(step(name, "I ≤ In", f"{shown(amperes)} A ≤ {shown(rated)} A", amperes, "A", DATA_SHEET))
            if not is_within(amperes, rated):
                over.append(f"{name} carries {shown(amperes)} A, its limit is {shown(rated)} A.")
    numbers = f"{' + '.join(f'{shown(amperes)} A' for amperes in currents_a.values()) or '0 A'}"
    lines.append(step("all channels", "Σ I", numbers, total, "A", DERIVED))
    limit, whose = _total_limit(total_rated_a, breaker_a)
    is_over = limit is not None and not is_within(total, limit)
    if limit is not None:
        values["total_limit_a"] = limit
        source = PLAN if whose == _BREAKER else DATA_SHEET
        lines.append(step(whose, "Σ I ≤ I total", f"{shown(total)} A ≤ {shown(limit)} A", limit, "A", source))
    if over or is_over:
        if is_over and limit is not None:
            over.append(f"All channels together carry {shown(total)} A, more than {whose}, {shown(limit)} A.")
        return _channels("unfit", " ".join(over), values, lines)
    if rated is None:
        return _channels("undecided", rating.sentence, values, lines)
    if limit is None and sum(amperes > 0 for amperes in currents_a.values()) > 1:
        sentence = (
            f"Each channel is within {shown(rated)} A; what the module carries in all ({shown(total)} A) is not said."
        )
        return _channels("undecided", sentence, values, lines)
    sentence = f"Each channel is within {shown(rated)} A, and {shown(total)} A in all"
    sentence += "." if limit is None else f" are within {whose}, {shown(limit)} A."
    return _channels("fits", sentence, values, lines)


_BREAKER = "the breaker"
_LEAKS = "A module without a neutral feeds itself through the load: small LED lamps may glow or flicker."
_BORROWED = "The neutral must be that of the same circuit: one borrowed from another trips residual-current protection."
_NO_EARTH = "Never use the protective earth in the place of a neutral."
_BOTH_SIDES = "Contact and supply come from two sources: both must be isolated and proved dead before work."
_APART = (
    "Keep extra-low voltage in a box or compartment of its own, or behind insulation for the highest voltage present."
)
_BY_THE_CONTACT = (
    "A contact that switches extra-low voltage is itself a place where the two meet: its data sheet must promise "
    "double or reinforced insulation from the module's supply."
)
_KEPT_APART: Mapping[Separation | None, str] = {
    None: "and nothing says that they are kept apart",
    "none": "and nothing keeps them apart",
    "barrier": "planned to be kept apart by a barrier: it must stand between every core of the one and of the other up "
    "to the module's terminals, and local codes come first",
    "distance": "planned to be kept apart by distance: both must be fixed so that no core that slips out of its "
    "terminal reaches the other, and local codes come first",
    "insulation": "planned to be kept apart by insulation: every core of both must be insulated for the highest "
    "voltage present, and local codes come first",
}


def _total_limit(total_rated_a: float | None, breaker_a: float | None) -> tuple[float | None, str]:
    limits: list[tuple[float, str]] = []
    if total_rated_a is not None:
        limits.append((given.positive(total_rated_a, "total rated current", "A"), "the module's total rating"))
    if breaker_a is not None:
        limits.append((given.positive(breaker_a, "breaker", "A"), _BREAKER))
    return min(limits) if limits else (None, "")


def _channels(verdict: Verdict, sentence: str, values: Mapping[str, float], lines: list[Line]) -> Answer:
    return Answer(question="channels", verdict=verdict, sentence=sentence, values=values, lines=tuple(lines))


def _span(span: tuple[float, float]) -> tuple[float, float]:
    lowest = given.not_negative(span[0], "lowest supply voltage", "V")
    highest = given.positive(span[1], "highest supply voltage", "V")
    if highest < lowest:
        raise CircuitError(
            f"{shown(lowest)} to {shown(highest)} V is upside down",
            where="supply range",
            next_step="Give the lower voltage first.",
        )
    return lowest, highest
