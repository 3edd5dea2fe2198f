"""LED strips at extra-low voltage: current of each channel, size of the supply, drop along leads and strip, class 2.

What belongs here: what hangs on an LED controller. What does not: LED lamps at mains voltage (`load`, `dimmer`).
"""

import math

from pattress.circuit import given
from pattress.circuit.conductors import derived_ohm_per_m, ohm_per_m
from pattress.circuit.voltage_drop import Spread, allowed_line, drop_v, longest_m
from pattress.circuit.working import (
    DATA_SHEET,
    DERIVED,
    PLAN,
    Answer,
    Line,
    continuous_line,
    is_within,
    percent,
    shown,
    step,
)
from pattress.model.errors import CircuitError
from pattress.model.tables import Figure, Tables

BOTH_POLES = "A strip with several channels shares one lead: it carries the sum of all of them."
FUSE = "A supply that delivers more than thin leads carry needs a fuse for them."
NO_CLASS_2 = "Above class 2 the wiring needs protection of its own, by the code's rules for it."


def strip_answer(
    w_per_m: float,
    length_m: float,
    voltage_v: float,
    *,
    channels: int = 1,
    rated_channel_a: float | None = None,
    rated_total_a: float | None = None,
    continuous: Figure | None = None,
) -> Answer:
    """Return the current of a strip, for each channel, and whether an LED controller carries it.

    Args:
        w_per_m: Of the whole strip with all its colours on, in watts for each metre.
        length_m: In metres.
        voltage_v: Of the strip, in volts.
        channels: How many of the controller's channels share it evenly: 1 one colour, 4 red, green, blue and white.
        rated_channel_a: Of one PWM channel, in amperes; None leaves it unjudged: a `figure`.
        rated_total_a: Of the controller in all, in amperes; None leaves it unjudged.
        continuous: What a strip that is on for hours counts against both; None where it is not.

    PWM lowers the mean current, not the peak: the strip's full current counts whatever the level.

    Values: `strip_w`, `total_a`, `channel_a`, and `longest_m`, the longest strip that the ratings allow.

    Raises:
        CircuitError: If a number cannot be.

    Source: derived, I = p l / U.
    """
    given.positive(w_per_m, "power of the strip", "W/m")
    given.positive(length_m, "length of the strip", "m")
    given.positive(voltage_v, "voltage", "V")
    given.whole(channels, "channels", most=64)
    strip_w = w_per_m * length_m
    total = strip_w / voltage_v
    each = total / channels
    values = {"strip_w": strip_w, "total_a": total, "channel_a": each}
    lines = [
        step("power", "P = p · l", f"{shown(w_per_m)} W/m · {shown(length_m)} m", strip_w, "W", PLAN),
        step("current", "I = P / U", f"{shown(strip_w)} W / {shown(voltage_v)} V", total, "A", DERIVED),
    ]
    if channels > 1:
        lines.append(step("of each channel", "I1 = I / n", f"{shown(total)} A / {channels}", each, "A", DERIVED))
    sentence = f"{shown(strip_w)} W of strip draw {shown(total)} A at {shown(voltage_v)} V"
    sentence += f", {shown(each)} A on each of {channels} channels." if channels > 1 else "."
    lengths: list[float] = []
    over: list[str] = []
    times, how = 1.0, ""
    if continuous is not None:
        times, how = continuous.value, " counted as continuous"
        lines.append(continuous_line("I", each, "A", continuous))
        values["counted_a"] = each * times
    for name, amperes, rated in (
        ("channel", each * times, rated_channel_a),
        ("controller", total * times, rated_total_a),
    ):
        if rated is None:
            continue
        limit = given.positive(rated, f"rated current of the {name}", "A")
        numbers = f"{shown(amperes)} A ≤ {shown(limit)} A"
        lines.append(step(f"limit of the {name}", "I ≤ In", numbers, limit, "A", DATA_SHEET))
        lengths.append(length_m * limit / amperes)
        if not is_within(amperes, limit):
            over.append(f"{shown(amperes)} A{how} are more than the {shown(limit)} A of the {name}.")
    if lengths:
        values["longest_m"] = min(lengths)
        said = " ".join(over) or "The controller carries that."
        sentence += f" {said} At most {shown(min(lengths))} m of this strip fit."
    return Answer(
        question="strip",
        verdict="unfit" if over else "fits" if lengths else "figure",
        sentence=sentence,
        values=values,
        lines=tuple(lines),
        cautions=(BOTH_POLES,) if channels > 1 else (),
    )


def supply_size_answer(load_w: float, tables: Tables, *, supply_w: float | None = None) -> Answer:
    """Return the power that a supply needs for what it feeds, with headroom, and whether the planned one has it.

    Args:
        load_w: In watts.
        tables: Their `supply_headroom_factor`.
        supply_w: Of the planned supply, in watts; None leaves it unjudged: a `figure`.

    Values: `load_w`, `needed_w`, and with a supply `supply_w`, `loaded_share`.

    Raises:
        CircuitError: If a number cannot be.
    """
    given.positive(load_w, "load", "W")
    factor = tables.figure("supply_headroom_factor")
    needed = factor.value * load_w
    values = {"load_w": load_w, "needed_w": needed}
    lines = [
        step("needed", "P needed = k · P", f"{shown(factor.value)} · {shown(load_w)} W", needed, "W", factor.source)
    ]
    sentence = f"{shown(load_w)} W need a supply of {shown(needed)} W."
    if supply_w is None:
        return Answer(question="supply-size", verdict="figure", sentence=sentence, values=values, lines=tuple(lines))
    given.positive(supply_w, "supply", "W")
    values |= {"supply_w": supply_w, "loaded_share": load_w / supply_w}
    numbers = f"{shown(needed)} W ≤ {shown(supply_w)} W"
    lines.append(step("judged", "P needed ≤ P supply", numbers, supply_w, "W", DERIVED))
    is_enough = is_within(needed, supply_w)
    word = "is enough" if is_enough else "is too small"
    return Answer(
        question="supply-size",
        verdict="fits" if is_enough else "unfit",
        sentence=f"{sentence} The planned one of {shown(supply_w)} W {word} (loaded to {percent(load_w / supply_w)}).",
        values=values,
        lines=tuple(lines),
    )


def strip_drop_answer(
    current_a: float,
    voltage_v: float,
    tables: Tables,
    *,
    lead_mm2: float | None = None,
    lead_m: float = 0.0,
    strip_m: float = 0.0,
    strip_ohm_per_m: float | None = None,
    both_ends: bool = False,
    temperature_c: float = 20.0,
    allowed: float | None = None,
) -> Answer:
    """Return whether leads and strip together drop little enough for the far end to look like the near one.

    Args:
        current_a: Of the whole strip, in amperes.
        voltage_v: Of the supply, in volts.
        tables: Resistances; their `drop_strip_share` where `allowed` is None.
        lead_mm2: Area of each lead in square millimetres, fine-stranded copper; None: no leads.
        lead_m: Length of the leads, one way, in metres.
        strip_m: Length of the strip, in metres.
        strip_ohm_per_m: Of one of the strip's two rails, in ohms for each metre; None leaves the strip's own drop
            out, and the answer says so.
        both_ends: Whether the strip is fed at both ends, by leads of this length to each.
        temperature_c: Of the leads, in degrees Celsius.
        allowed: Largest drop as a share, in the place of the tables'.

    Values: `lead_drop_v`, `strip_drop_v` where it is known, `drop_v`, `drop_share`, `allowed_v`, and
    `longest_lead_m`, the longest leads for what is allowed (0 where the strip alone drops more).

    Raises:
        CircuitError: If a number cannot be.

    Source: derived; along a strip fed at one end half of what the same current would drop at its end.
    """
    given.not_negative(current_a, "current", "A")
    given.positive(voltage_v, "voltage", "V")
    limit = (
        tables.figure("drop_strip_share")
        if allowed is None
        else Figure(value=given.share(allowed, "allowed drop"), source=PLAN)
    )
    allowed_v = limit.value * voltage_v
    lines: list[Line] = []
    values: dict[str, float] = {"allowed_v": allowed_v}
    lead_a = current_a / 2 if both_ends else current_a
    lead_drop, per_metre = 0.0, None
    if lead_mm2 is not None:
        per_metre = lead_ohm_per_m(lead_mm2, tables, temperature_c=temperature_c)
        lead_drop = drop_v(lead_a, lead_m, per_metre.value)
        numbers = f"2 · {shown(lead_a)} A · {shown(lead_m)} m · {shown(per_metre.value * 1000)} mΩ/m"
        lines.append(step("drop of the leads", "ΔU = 2 · I · l · R'", numbers, lead_drop, "V", per_metre.source))
    elif lead_m > 0:
        raise CircuitError(
            "leads have a length and no area", where="leads", next_step="Give their area in square millimetres."
        )
    strip_drop = 0.0
    cautions: list[str] = []
    if strip_ohm_per_m is None:
        cautions.append("The strip's own drop was left out: its resistance was not said.")
    else:
        spread: Spread = "even-both-ends" if both_ends else "even"
        part = "1/8" if both_ends else "1/2"
        strip_drop = drop_v(current_a, strip_m, strip_ohm_per_m, spread=spread)
        numbers = f"{part} · 2 · {shown(current_a)} A · {shown(strip_m)} m · {shown(strip_ohm_per_m * 1000)} mΩ/m"
        lines.append(step("drop along the strip", f"ΔU = {part} · 2 · I · l · R'", numbers, strip_drop, "V", DERIVED))
        values["strip_drop_v"] = strip_drop
    drop = lead_drop + strip_drop
    if len(lines) > 1:
        numbers = f"{shown(lead_drop)} V + {shown(strip_drop)} V"
        lines.append(step("drop in all", "ΔU = ΔU leads + ΔU strip", numbers, drop, "V", DERIVED))
    lines.append(allowed_line(limit, voltage_v))
    values |= {"lead_drop_v": lead_drop, "drop_v": drop, "drop_share": drop / voltage_v}
    sentence = (
        f"{shown(current_a)} A at {shown(voltage_v)} V drop {shown(drop)} V ({percent(drop / voltage_v)}); "
        f"{shown(allowed_v)} V ({percent(limit.value)}) are allowed."
    )
    if per_metre is not None and lead_a > 0:
        left = allowed_v - strip_drop
        longest = longest_m(lead_a, left, per_metre.value) if left > given.SMALLEST else 0.0
        values["longest_lead_m"] = longest
        sentence += f" The leads may be {shown(longest)} m long."
    return Answer(
        question="strip-drop",
        verdict="fits" if is_within(drop, allowed_v) else "unfit",
        sentence=sentence,
        values=values,
        lines=tuple(lines),
        cautions=(*cautions, FUSE),
    )


def lead_ohm_per_m(area_mm2: float, tables: Tables, *, temperature_c: float = 20.0) -> Figure:
    """Return the resistance of one fine-stranded lead in ohms for each metre: by the tables, else by its area.

    Raises:
        CircuitError: If a number cannot be.
    """
    given.positive(area_mm2, "area of the leads", "mm²")
    listed = next((one for one in tables.sizes if math.isclose(one.area_mm2, area_mm2, rel_tol=1e-6)), None)
    if listed is not None:
        return ohm_per_m(listed, tables, temperature_c=temperature_c, construction="flexible")
    return derived_ohm_per_m(area_mm2 * 1e-6, tables, temperature_c=temperature_c, construction="flexible")


def class2_answer(supply_w: float, voltage_v: float, tables: Tables) -> Answer:
    """Return whether a supply's output stays within class 2, so that its wiring needs no further protection.

    Args:
        supply_w: What the supply can deliver, in volt-amperes.
        voltage_v: Of its output, in volts.
        tables: Their `class2_va`, `class2_v` and `class2_a`.

    Values: `supply_a`, `class2_va`, `class2_v`, and `most_a`, the largest current at this voltage.

    Raises:
        CircuitError: If a number cannot be.

    Source: NEC Chapter 9, Tables 11(A) and 11(B). A supply is class 2 only if it is listed so.
    """
    given.positive(supply_w, "supply", "W")
    given.positive(voltage_v, "voltage", "V")
    power, highest, largest = (tables.figure(name) for name in ("class2_va", "class2_v", "class2_a"))
    amperes = supply_w / voltage_v
    pairs = ((supply_w, power), (voltage_v, highest), (amperes, largest))
    is_class2 = all(is_within(value, limit.value) for value, limit in pairs)
    word = "stays within" if is_class2 else "exceeds"
    return Answer(
        question="class2",
        verdict="fits" if is_class2 else "unfit",
        sentence=f"{shown(supply_w)} VA at {shown(voltage_v)} V, {shown(amperes)} A, {word} class 2 "
        f"({shown(power.value)} VA, {shown(highest.value)} V, {shown(largest.value)} A).",
        values={
            "supply_a": amperes,
            "class2_va": power.value,
            "class2_v": highest.value,
            "most_a": min(power.value / voltage_v, largest.value),
        },
        lines=(
            step(
                "power", "S ≤ S max", f"{shown(supply_w)} VA ≤ {shown(power.value)} VA", power.value, "VA", power.source
            ),
            step(
                "voltage",
                "U ≤ U max",
                f"{shown(voltage_v)} V ≤ {shown(highest.value)} V",
                highest.value,
                "V",
                highest.source,
            ),
            step("current", "I = S / U", f"{shown(supply_w)} VA / {shown(voltage_v)} V", amperes, "A", DERIVED),
            step(
                "largest current",
                "I ≤ I max",
                f"{shown(amperes)} A ≤ {shown(largest.value)} A",
                largest.value,
                "A",
                largest.source,
            ),
        ),
        cautions=("A supply is class 2 only where it is listed and marked so.", *(() if is_class2 else (NO_CLASS_2,))),
    )
