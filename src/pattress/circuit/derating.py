"""How much of a contact's rating a kind of load may use: for its inrush, and for what it does at opening.

What belongs here: applying the factors. What does not: the factors, which are figures of the tables, each with its
source. There is no published universal number; every factor used stands in the working.
"""

from dataclasses import replace

from pattress.circuit import given
from pattress.circuit.load import Draw, draw_of, kind_at, rating_answer
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
from pattress.model.article import with_article
from pattress.model.circuit import Load, LoadKind
from pattress.model.profile import DataSheet
from pattress.model.tables import Figure, Tables

MAKER_FIRST = (
    "Inrush and derating are general figures: where the maker states a limit for this kind of lamp or motor, it counts."
)
ARC = "Contacts rated for alternating current break much less direct current: the maker's DC rating counts."


def usable_share(kind: LoadKind, tables: Tables) -> Figure:
    """Return the part of a contact's resistive rating that a kind of load may use, 0 to 1, with its reason.

    The lower of the kind's own share (motors: what opening an inductive circuit does) and of what the inrush leaves:
    the multiple of its rating that a contact closes on, by the multiple of its current that the load draws at first.

    Source: derived; the factors by the tables.
    """
    facts = tables.kinds[kind]
    closes_on = tables.figure("contact_inrush")
    by_inrush = closes_on.value / facts.inrush.value
    if by_inrush < facts.contact_share.value:
        load, contact = shown(facts.inrush.value), shown(closes_on.value)
        reason = f"inrush {load}: {facts.inrush.source}; contact {contact}: {closes_on.source}"
        return Figure(value=by_inrush, source=reason)
    return facts.contact_share


def stated_limits(
    sheet: DataSheet, load: Load, voltage_v: float, tables: Tables, *, is_dc: bool = False
) -> tuple[float | None, float | None]:
    """Return the watts and the amperes that a data sheet states of such loads, each None where it states none.

    What it states of the kind that a load counts as at this voltage stands where it states none of its own.
    """
    counts_as = kind_at(load, voltage_v, tables, is_dc=is_dc)
    stated_w = sheet.load_w.get(load.kind, sheet.load_w.get(counts_as))
    return stated_w, sheet.motor_current_a if load.kind == "motor" else None


def module_answer(
    load: Load,
    voltage_v: float,
    tables: Tables,
    *,
    rated_current_a: float | None,
    rated_power_w: float | None,
    stated_w: float | None = None,
    stated_a: float | None = None,
    is_dc: bool = False,
    draw: Draw | None = None,
) -> Answer:
    """Return whether one output of a module carries a load: rating at this voltage, derated for its kind.

    What the maker states of loads of this kind counts before the general factors for it; the ampere rating counts
    beside that, for watts that are stated at one voltage are more amperes at a lower one.

    Args:
        load: What the channel feeds. One free of potential draws nothing that counts.
        voltage_v: Of the site, in volts.
        tables: Their factors for the kind, and `module_continuous_factor`.
        rated_current_a: By the data sheet, in amperes; None where it says nothing.
        rated_power_w: By the data sheet, in watts; None where it says nothing.
        stated_w: Watts that the data sheet states for loads of this kind; None where it states none.
        stated_a: Amperes that it states for loads of this kind, in the place of watts; None where it states none.
        is_dc: Whether the load's own circuit is direct current.
        draw: What the load draws, where it is known better than from its marks; None computes it.

    Values: `current_a`, `counted_a`, `used_share` (of what the output may carry), and `rating_a`, `usable_share`,
    `usable_a`, `inrush_a`, `most_w`; or, where the maker states a limit, `stated_w` or `stated_a`. `undecided` where
    the data sheet says neither rating nor such a limit, or the load's power is not known; and where it would fit, but
    is direct current above `contact_dc_v` of the tables, which the ratings of data sheets are not for.

    Raises:
        CircuitError: If a number cannot be.
    """
    drawn = draw or draw_of(load, voltage_v, tables, is_dc=is_dc)
    name = load.title
    if not drawn.is_known:
        sentence = f"The power of {name} was not said, so whether the module carries it was not judged."
        return Answer(question="module", verdict="undecided", sentence=sentence)
    if stated_w is not None or stated_a is not None:
        answer = _stated_answer(load, voltage_v, drawn, tables, stated_w, stated_a, rated_current_a)
    else:
        answer = _rated_answer(load, voltage_v, drawn, tables, rated_current_a, rated_power_w, is_dc=is_dc)
    return _broken_as_dc(answer, voltage_v, tables) if is_dc else answer


def _rated_answer(
    load: Load,
    voltage_v: float,
    drawn: Draw,
    tables: Tables,
    rated_current_a: float | None,
    rated_power_w: float | None,
    *,
    is_dc: bool,
) -> Answer:
    """Whether a load is within the rating that is left for its kind."""
    name = load.title
    rating = rating_answer(rated_current_a, rated_power_w, voltage_v)
    if rating.verdict == "undecided":
        sentence = f"{name} draws {shown(drawn.current_a)} A, but {rating.sentence[0].lower()}{rating.sentence[1:]}"
        return Answer(question="module", verdict="undecided", sentence=sentence, values={"current_a": drawn.current_a})
    kind = kind_at(load, voltage_v, tables, is_dc=is_dc)
    share = usable_share(kind, tables)
    usable_a = rating.values["rating_a"] * share.value
    factor = tables.figure("module_continuous_factor")
    counted = drawn.counted_a(factor.value)
    facts, closes_on = tables.kinds[kind], tables.value("contact_inrush")
    inrush = facts.inrush
    inrush_a = inrush.value * drawn.current_a
    is_carried = is_within(counted, usable_a)
    lines = (
        _current_line(drawn, voltage_v),
        *rating.lines,
        step(
            f"usable part for {with_article(kind)} load",
            "a = min(share, contact inrush / load inrush)",
            f"min({shown(facts.contact_share.value)}, {shown(closes_on)} / {shown(inrush.value)})",
            share.value,
            "1",
            share.source,
        ),
        _amperes(
            "usable",
            "I usable = a · I",
            f"{shown(share.value)} · {shown(rating.values['rating_a'])} A",
            usable_a,
            DERIVED,
        ),
        *((continuous_line("I", drawn.current_a, "A", factor),) if drawn.is_continuous else ()),
        _amperes(
            "first moment",
            "I first = m · I",
            f"{shown(inrush.value)} · {shown(drawn.current_a)} A",
            inrush_a,
            inrush.source,
        ),
        _amperes("judged", "I counted ≤ I usable", f"{shown(counted)} A ≤ {shown(usable_a)} A", usable_a, DERIVED),
    )
    most_w = usable_a / (factor.value if drawn.is_continuous else 1.0) * voltage_v * drawn.power_factor
    sentence = (
        f"{name}: {_counted_words(drawn, counted)} against {shown(usable_a)} A usable "
        f"({percent(share.value)} of {shown(rating.values['rating_a'])} A for {with_article(kind)} load); "
        f"at most {shown(most_w)} W of this kind {'fit' if is_carried else 'would fit'}."
    )
    return Answer(
        question="module",
        verdict="fits" if is_carried else "unfit",
        sentence=sentence,
        values={
            "current_a": drawn.current_a,
            "counted_a": counted,
            "used_share": counted / usable_a,
            "rating_a": rating.values["rating_a"],
            "usable_share": share.value,
            "usable_a": usable_a,
            "inrush_a": inrush_a,
            "most_w": most_w,
        },
        lines=lines,
        cautions=(MAKER_FIRST,) if kind != "resistive" else (),
    )


def inrush_answer(kind: LoadKind, current_a: float, rated_current_a: float, tables: Tables) -> Answer:
    """Return whether a contact closes on the first moment of a load.

    Values: `inrush_a`, `closes_on_a`, `most_a` (the largest steady current of this kind).

    Raises:
        CircuitError: If a number cannot be.
    """
    given.not_negative(current_a, "current", "A")
    given.positive(rated_current_a, "rated current", "A")
    inrush, closes_on = tables.kinds[kind].inrush, tables.figure("contact_inrush")
    first, limit = inrush.value * current_a, closes_on.value * rated_current_a
    is_borne = is_within(first, limit)
    return Answer(
        question="inrush",
        verdict="fits" if is_borne else "unfit",
        sentence=f"{with_article(kind).capitalize()} load of {shown(current_a)} A draws up to {shown(first)} A "
        f"at first; a contact of {shown(rated_current_a)} A closes on {shown(limit)} A.",
        values={"inrush_a": first, "closes_on_a": limit, "most_a": limit / inrush.value},
        lines=(
            _amperes("steady current", "I", f"{shown(current_a)} A", current_a, PLAN),
            _amperes(
                "first moment", "I first = m · I", f"{shown(inrush.value)} · {shown(current_a)} A", first, inrush.source
            ),
            _amperes(
                "contact closes on",
                "I max = c · In",
                f"{shown(closes_on.value)} · {shown(rated_current_a)} A",
                limit,
                closes_on.source,
            ),
        ),
        cautions=(MAKER_FIRST,),
    )


def _stated_answer(
    load: Load,
    voltage_v: float,
    drawn: Draw,
    tables: Tables,
    stated_w: float | None,
    stated_a: float | None,
    rated_current_a: float | None,
) -> Answer:
    """Whether a load is within what the maker states of its kind, and within the ampere rating."""
    if stated_w is not None:
        limit, unit, formula = given.not_negative(stated_w, "stated power", "W"), "W", "P ≤ P stated"
        value = load.total_w if load.total_w > 0 else drawn.apparent_va
    else:
        limit, unit, formula = given.not_negative(stated_a or 0.0, "stated current", "A"), "A", "I ≤ I stated"
        value = drawn.current_a
    factor = tables.figure("module_continuous_factor")
    counted = drawn.counted_a(factor.value)
    is_stated, is_carried = is_within(value, limit), True
    kind = with_article(load.kind)
    numbers = f"{shown(value)} {unit} ≤ {shown(limit)} {unit}"
    lines = [
        _current_line(drawn, voltage_v),
        step(f"stated for {kind} load", formula, numbers, limit, unit, DATA_SHEET),
        *((continuous_line("I", drawn.current_a, "A", factor),) if drawn.is_continuous else ()),
    ]
    values = {
        "current_a": drawn.current_a,
        "counted_a": counted,
        "used_share": value / limit if limit > 0 else float(value > 0),
        "stated_w" if unit == "W" else "stated_a": limit,
    }
    sentence = (
        f"{load.title}: {shown(value)} {unit} {'are within' if is_stated else 'are more than'} "
        f"the {shown(limit)} {unit} that the data sheet gives for {kind} load."
    )
    if rated_current_a is not None:
        rated = given.positive(rated_current_a, "rated current", "A")
        is_carried = is_within(counted, rated)
        values["used_share"] = max(values["used_share"], counted / rated)
        numbers = f"{shown(counted)} A ≤ {shown(rated)} A"
        lines.append(step("ampere rating", "I counted ≤ I1", numbers, rated, "A", DATA_SHEET))
        if not is_carried:
            sentence += f" {_counted_words(drawn, counted)} are more than its rating of {shown(rated)} A."
    return Answer(
        question="module",
        verdict="fits" if is_stated and is_carried else "unfit",
        sentence=sentence,
        values=values,
        lines=tuple(lines),
    )


def _broken_as_dc(answer: Answer, voltage_v: float, tables: Tables) -> Answer:
    """The answer for direct current: a contact that carries it need not break it."""
    limit = tables.figure("contact_dc_v")
    is_low = is_within(voltage_v, limit.value)
    numbers = f"{shown(voltage_v)} V {'≤' if is_low else '>'} {shown(limit.value)} V"
    line = step("voltage that the contact breaks", "U ≤ U max", numbers, limit.value, "V", limit.source)
    answer = replace(answer, lines=(*answer.lines, line), cautions=(*answer.cautions, ARC))
    if is_low or answer.verdict != "fits":
        return answer
    sentence = (
        f"{answer.sentence} But whether the contact breaks {shown(voltage_v)} V of direct current is not known: "
        f"above {shown(limit.value)} V it breaks far less than its rating."
    )
    return replace(answer, verdict="undecided", sentence=sentence)


def _counted_words(draw: Draw, counted: float) -> str:
    return f"{shown(counted)} A" + (" counted as continuous" if draw.is_continuous else "")


def _current_line(draw: Draw, voltage_v: float) -> Line:
    numbers = f"{shown(draw.apparent_va)} VA / {shown(voltage_v)} V"
    return _amperes("current", "I = S / U", numbers, draw.current_a, DERIVED)


def _amperes(what: str, formula: str, numbers: str, result: float, source: str) -> Line:
    return step(what, formula, numbers, result, "A", source)
