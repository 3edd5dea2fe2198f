"""How much of a contact's rating a kind of load may use: for its inrush, and for what it does at opening.

What belongs here: applying the factors. What does not: the factors, which are figures of the tables, each with its
source. There is no published universal number; every factor used stands in the working.
"""

from pattress.circuit import given
from pattress.circuit.load import Draw, draw_of, rating_answer
from pattress.circuit.working import DERIVED, PLAN, Answer, Line, is_within, percent, shown, step
from pattress.model.article import with_article
from pattress.model.circuit import Load, LoadKind
from pattress.model.tables import Figure, Tables

MAKER_FIRST = (
    "Inrush and derating are general figures: where the maker states a limit for this kind of lamp or motor, it counts."
)
ARC = "Contacts rated for alternating current break much less direct current: above 30 V the maker's DC rating counts."


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


def module_answer(
    load: Load,
    voltage_v: float,
    tables: Tables,
    *,
    rated_current_a: float | None,
    rated_power_w: float | None,
    is_dc: bool = False,
    draw: Draw | None = None,
) -> Answer:
    """Return whether one output of a module carries a load: rating at this voltage, derated for its kind.

    Args:
        load: What the channel feeds. One free of potential draws nothing that counts.
        voltage_v: Of the site, in volts.
        tables: Their factors for the kind, and `module_continuous_factor`.
        rated_current_a: By the data sheet, in amperes; None where it says nothing.
        rated_power_w: By the data sheet, in watts; None where it says nothing.
        is_dc: Whether the load's own circuit is direct current.
        draw: What the load draws, where it is known better than from its marks; None computes it.

    Values: `current_a`, `counted_a`, `rating_a`, `usable_share`, `usable_a`, `inrush_a`. `undecided` where the data
    sheet says neither rating, or the load's power is not known.

    Raises:
        CircuitError: If a number cannot be.
    """
    drawn = draw or draw_of(load, voltage_v, tables, is_dc=is_dc)
    rating = rating_answer(rated_current_a, rated_power_w, voltage_v)
    name = load.title
    if not drawn.is_known:
        sentence = f"The power of {name} was not said, so whether the module carries it was not judged."
        return Answer(question="module", verdict="undecided", sentence=sentence)
    if rating.verdict == "undecided":
        sentence = f"{name} draws {shown(drawn.current_a)} A, but {rating.sentence[0].lower()}{rating.sentence[1:]}"
        return Answer(question="module", verdict="undecided", sentence=sentence, values={"current_a": drawn.current_a})
    share = usable_share(load.kind, tables)
    usable_a = rating.values["rating_a"] * share.value
    factor = tables.figure("module_continuous_factor")
    counted = drawn.current_a * (factor.value if drawn.is_continuous else 1.0)
    facts, closes_on = tables.kinds[load.kind], tables.value("contact_inrush")
    inrush = facts.inrush
    inrush_a = inrush.value * drawn.current_a
    is_carried = is_within(counted, usable_a)
    lines = (
        _amperes(
            "current", "I = S / U", f"{shown(drawn.apparent_va)} VA / {shown(voltage_v)} V", drawn.current_a, DERIVED
        ),
        *rating.lines,
        step(
            f"usable part for {with_article(load.kind)} load",
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
        *((_counted_line(drawn, counted, factor),) if drawn.is_continuous else ()),
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
    counted_words = f"{shown(counted)} A" + (" counted as continuous" if drawn.is_continuous else "")
    sentence = (
        f"{name}: {counted_words} against {shown(usable_a)} A usable "
        f"({percent(share.value)} of {shown(rating.values['rating_a'])} A for {with_article(load.kind)} load); "
        f"at most {shown(most_w)} W of this kind {'fit' if is_carried else 'would fit'}."
    )
    return Answer(
        question="module",
        verdict="fits" if is_carried else "unfit",
        sentence=sentence,
        values={
            "current_a": drawn.current_a,
            "counted_a": counted,
            "rating_a": rating.values["rating_a"],
            "usable_share": share.value,
            "usable_a": usable_a,
            "inrush_a": inrush_a,
            "most_w": most_w,
        },
        lines=lines,
        cautions=(*((MAKER_FIRST,) if load.kind != "resistive" else ()), *((ARC,) if is_dc else ())),
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


def _counted_line(draw: Draw, counted: float, factor: Figure) -> Line:
    numbers = f"{shown(factor.value)} · {shown(draw.current_a)} A"
    return _amperes("as it counts, being continuous", "I counted = k · I", numbers, counted, factor.source)


def _amperes(what: str, formula: str, numbers: str, result: float, source: str) -> Line:
    return step(what, formula, numbers, result, "A", source)
