"""Whether a dimmer suits its lamps: enough load, not too much, and the edge that they stand.

What belongs here: a dimmer at mains voltage. What does not: LED controllers that dim extra-low voltage (`led`).
"""

import math

from pattress.circuit import given
from pattress.circuit.load import draw_of, power_factor_of
from pattress.circuit.working import DATA_SHEET, DERIVED, Answer, Verdict, continuous_line, is_within, shown, step
from pattress.model.article import with_article
from pattress.model.circuit import EdgeOfDimming, Load, LoadKind
from pattress.model.tables import Tables

SAY_SO = "Only lamps whose maker calls them dimmable may be dimmed, and a pair of dimmer and lamp is best tried first."
NEVER = "A dimmer never feeds a socket (NEC 404.14(E)): a motor or a supply that is plugged in may burn."


def dimmer_answer(
    load: Load,
    voltage_v: float,
    tables: Tables,
    *,
    rated_power_w: float | None,
    rated_current_a: float | None = None,
    minimum_load_w: float | None,
    maximum_lamps: int | None = None,
) -> Answer:
    """Return whether the watts of a load lie between what a dimmer needs and what it carries.

    Args:
        load: The lamps on one dimmed channel.
        voltage_v: Of the site, in volts.
        tables: Their `dimmer_share` is the part of a dimmer's watts that lamps of this kind may use; their
            `module_continuous_factor` is what a continuous load counts.
        rated_power_w: By the data sheet, in watts; None where it says nothing.
        rated_current_a: By the data sheet, in amperes; None where it says nothing.
        minimum_load_w: By the data sheet, in watts; None where it says nothing.
        maximum_lamps: By the data sheet, how many lamps whatever their watts; None where it says nothing.

    What lamps may use is their kind's part of the dimmer's watts, and no more than those watts as volt-amperes.

    Values: `total_w`, `counted_w`, `usable_w`, `minimum_w`, `fewest` and `most` (lamps of this power), each where it is
    known. `unfit` where the kind cannot be dimmed; `undecided` where the data sheet names no rating or the load has no
    power, or where it is so small that a minimum matters (`dimmer_small_w`) and none is named.

    Raises:
        CircuitError: If a number cannot be.
    """
    total_w = draw_of(load, voltage_v, tables).current_a * voltage_v  # volt-amperes: peaks of current heat a dimmer
    watts = load.total_w
    name, lamps = load.title, with_article(f"{load.kind} load")
    share = tables.kinds[load.kind].dimmer_share
    if share is None:
        sentence = f"{name}: {lamps} cannot be dimmed."
        return Answer(question="dimmer", verdict="unfit", sentence=sentence, cautions=(NEVER,))
    if watts == 0:
        sentence = f"The power of {name} was not said, so whether the dimmer suits it was not judged."
        return Answer(question="dimmer", verdict="undecided", sentence=sentence)
    rated = _rated_w(rated_power_w, rated_current_a, voltage_v)
    if rated is None:
        sentence = f"The data sheet names no rating of the dimmer, so {shown(watts)} W could not be judged."
        return Answer(question="dimmer", verdict="undecided", sentence=sentence, values={"total_w": watts})
    factor = power_factor_of(load, voltage_v, tables)
    usable = rated * min(share.value, factor.value)
    lasting = tables.figure("module_continuous_factor")
    times = lasting.value if load.is_continuous else 1.0
    counted = watts * times
    values = {"total_w": watts, "counted_w": counted, "usable_w": usable}
    part, why = (
        (share.value, share.source) if share.value <= factor.value else (factor.value, f"cos φ: {factor.source}")
    )
    lines = [
        step("power", "P = p · n", f"{shown(load.power_w)} W · {load.count}", watts, "W", "as asked"),
        step("usable", "P max = a · P rated", f"{shown(part)} · {shown(rated)} W", usable, "W", why),
    ]
    if load.is_continuous:
        lines.append(continuous_line("P", watts, "W", lasting))
    counted_va = total_w * times
    numbers = f"{shown(counted_va)} VA ≤ {shown(rated)} VA"
    lines.append(step("volt-amperes", "S ≤ P rated", numbers, counted_va, "VA", DATA_SHEET))
    lines.append(step("judged", "P ≤ P max", f"{shown(counted)} W ≤ {shown(usable)} W", usable, "W", DERIVED))
    count = lamp_count(load.power_w, minimum_load_w, usable / times) if load.power_w > 0 else None
    if count is not None and maximum_lamps is not None:
        count = count[0], min(count[1], maximum_lamps)
    if count is not None:
        values["fewest"], values["most"] = float(count[0]), float(count[1])
    verdict: Verdict = "fits"
    told = f"{shown(counted)} W counted as continuous" if load.is_continuous else f"{shown(watts)} W"
    says = [f"{name}: {told} of the {shown(usable)} W that {lamps} may use of {shown(rated)} W."]
    if not is_within(counted, usable):
        verdict = "unfit"
        says[0] = (
            f"{name}: {told} ({shown(counted_va)} VA) are more than the {shown(usable)} W that {lamps} "
            f"may use of {shown(rated)} W."
        )
        if count is not None:
            says.append(f"At most {count[1]} such lamps fit.")
    if maximum_lamps is not None:
        numbers = f"{load.count} ≤ {maximum_lamps}"
        lines.append(step("number of lamps", "n ≤ n max", numbers, float(maximum_lamps), "1", DATA_SHEET))
        if load.count > maximum_lamps:
            verdict = "unfit"
            says.append(f"{load.count} lamps are more than the {maximum_lamps} that the data sheet allows.")
    if minimum_load_w is not None:
        least = given.not_negative(minimum_load_w, "minimum load", "W")
        values["minimum_w"] = least
        numbers = f"{shown(watts)} W ≥ {shown(least)} W"
        lines.append(step("minimum load", "P ≥ P min", numbers, least, "W", DATA_SHEET))
        if not is_within(least, watts):
            verdict = "unfit"
            says.append(f"{shown(watts)} W are less than the {shown(least)} W that the dimmer needs: it may flicker.")
            if count is not None:
                says.append(f"At least {count[0]} such lamps are needed.")
    elif watts < (small := tables.figure("dimmer_small_w")).value and verdict == "fits":
        verdict = "undecided"
        numbers = f"{shown(watts)} W < {shown(small.value)} W"
        lines.append(step("little for a dimmer", "P < P small", numbers, small.value, "W", small.source))
        says.append(f"The data sheet names no minimum load, and {shown(watts)} W are little for a dimmer.")
    return Answer(
        question="dimmer",
        verdict=verdict,
        sentence=" ".join(says),
        values=values,
        lines=tuple(lines),
        cautions=(SAY_SO,),
    )


def edge_answer(
    kind: LoadKind, dimmer_edge: EdgeOfDimming | None, tables: Tables, *, asked: EdgeOfDimming | None = None
) -> Answer:
    """Return whether the edge that a dimmer cuts suits its lamps.

    Args:
        kind: Of the lamps.
        dimmer_edge: What the dimmer cuts; None where it is not known.
        tables: The edges that each kind stands, the better first.
        asked: What the lamp's maker asks for, which counts before the kind's own; None where he says nothing.

    Raises:
        Nothing: an edge is one of two words.

    Source: common practice; IEC 60669-2-1 for the marking of electronic switches.
    """
    lamps = with_article(f"{kind} load")
    stands = (asked,) if asked is not None else tables.kinds[kind].edges
    if not stands or tables.kinds[kind].dimmer_share is None:
        sentence = f"{lamps.capitalize()} cannot be dimmed."
        return Answer(question="edge", verdict="unfit", sentence=sentence, cautions=(NEVER,))
    who = "the lamp's maker asks for" if asked is not None else f"{lamps} stands"
    wanted = " or ".join(f"{edge} edge" for edge in stands)
    if dimmer_edge is None:
        sentence = f"It is not known which edge the dimmer cuts; {who} {wanted}."
        return Answer(question="edge", verdict="undecided", sentence=sentence, cautions=(SAY_SO,))
    if dimmer_edge in stands:
        better = "" if dimmer_edge == stands[0] else f" It works better with {stands[0]} edge."
        sentence = f"The dimmer cuts the {dimmer_edge} edge; {who} {wanted}.{better}"
        return Answer(question="edge", verdict="fits", sentence=sentence, cautions=(SAY_SO,))
    sentence = f"The dimmer cuts the {dimmer_edge} edge, but {who} {wanted}."
    return Answer(question="edge", verdict="unfit", sentence=sentence, cautions=(SAY_SO,))


def lamp_count(power_w: float, minimum_load_w: float | None, usable_w: float) -> tuple[int, int]:
    """Return how few and how many lamps of one power a dimmer takes; most may be less than fewest: then none suits.

    Args:
        power_w: Of one lamp, in watts.
        minimum_load_w: What the dimmer needs, in watts; None counts as one lamp.
        usable_w: What lamps of the kind may use of it, in watts.

    Raises:
        CircuitError: If a number cannot be.

    Source: derived.
    """
    given.positive(power_w, "power of a lamp", "W")
    given.not_negative(usable_w, "usable power", "W")
    least = given.not_negative(minimum_load_w or 0.0, "minimum load", "W")
    fewest = max(1, math.ceil(least / power_w - 1e-9))
    return fewest, math.floor(usable_w / power_w + 1e-9)


def _rated_w(power_w: float | None, current_a: float | None, voltage_v: float) -> float | None:
    limits = []
    if power_w is not None:
        limits.append(given.positive(power_w, "rated power", "W"))
    if current_a is not None:
        limits.append(given.positive(current_a, "rated current", "A") * voltage_v)
    return min(limits, default=None)
