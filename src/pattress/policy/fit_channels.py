"""Fitness of a module's channels for what they feed: ratings, the sum of them, dimmers, LED strips.

What belongs here: questions about one channel, and all channels together. What does not: the place (`fit_place`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from pattress.circuit.derating import module_answer, stated_limits
from pattress.circuit.dimmer import dimmer_answer, edge_answer
from pattress.circuit.led import class2_answer, strip_answer, strip_drop_answer, supply_size_answer
from pattress.circuit.load import rating_answer
from pattress.circuit.supply import channels_answer
from pattress.circuit.working import Answer, is_within, percent, shown, step
from pattress.model.circuit import EdgeOfDimming, Load
from pattress.model.errors import CircuitError
from pattress.policy.fit_case import Case, Fit, asked, pieces, silent, title_of, worst
from pattress.policy.fit_place import drawn, drawn_together, is_open_socket
from pattress.policy.fit_rules import (
    FIT_CLASS_2,
    FIT_DIMMER_EDGE,
    FIT_DIMMER_LOAD,
    FIT_LED_CURRENT,
    FIT_LED_DROP,
    FIT_LED_SUPPLY,
    FIT_RATING,
    FIT_TOTAL,
)


def channel_fits(case: Case) -> Iterator[Fit]:
    """Yield the outcome of every question about the channels that feed something."""
    if not case.circuit.loads:
        yield silent(FIT_RATING, "the plan says nothing of what the module feeds: see [[point.load]]")
    for channel in case.channels:
        loads = case.at(channel)
        match channel.split(".", 1)[0]:
            case "dimmer":
                yield from _dimmer(case, channel, loads)
            case "led":
                yield from _strip(case, channel, loads)
            case _:
                yield from _switched(case, channel, loads)
    yield from _led_supply(case)
    yield from _total(case)


def _switched(case: Case, channel: str, loads: Sequence[Load]) -> Iterator[Fit]:
    parts: list[tuple[Fit, float]] = []
    loads = _open_sockets_as_one(loads)
    here = [load for load in loads if not case.is_fed_elsewhere(load)]
    for load in loads:
        if case.is_fed_elsewhere(load) and load.total_w <= 0:
            continue  # a control input: what it draws is nothing to a contact
        if case.is_fed_elsewhere(load):
            why = f"the plan does not say at which voltage {title_of(load)} is fed through the contact"
            parts.append((silent(FIT_RATING, why, channel=channel), 0.0))
        else:
            parts.append(_rated(case, channel, load, [one for one in here if one is not load]))
    if len(parts) == 1:
        yield parts[0][0]
    elif parts:
        yield _together(channel, parts)


def _open_sockets_as_one(loads: Sequence[Load]) -> list[Load]:
    """The loads of a channel, its sockets of unsaid power as one: what they draw flows through one breaker."""
    sockets = [load for load in loads if is_open_socket(load)]
    if len(sockets) < 2:
        return list(loads)
    names = " and ".join(dict.fromkeys(title_of(one) for one in sockets))
    one = replace(sockets[0], name=names, is_continuous=any(socket.is_continuous for socket in sockets))
    return [*(load for load in loads if not is_open_socket(load)), one]


def _rated(case: Case, channel: str, load: Load, others: Sequence[Load]) -> tuple[Fit, float]:
    """The outcome for one load beside the others, and the part of what it may use that it does use."""
    sheet, told = case.sheet, case.described(load)
    if is_open_socket(load):
        rest = "what the breaker lets through beside the rest" if others else "all that the breaker lets through"
        told = replace(told, name=f"{told.name}, which may draw {rest}")
    stated_w, stated_a = stated_limits(sheet, load, case.circuit.voltage_v, case.tables, is_dc=case.circuit.is_dc)
    try:
        draw = drawn_together(case, [load, *others])[0] if is_open_socket(load) else drawn(case, load)
    except CircuitError as error:
        return silent(FIT_RATING, error.what, channel=channel), 0.0
    fit = asked(
        FIT_RATING,
        partial(
            module_answer,
            told,
            case.circuit.voltage_v,
            case.tables,
            rated_current_a=sheet.rated_current_a,
            rated_power_w=sheet.rated_power_w,
            stated_w=stated_w,
            stated_a=stated_a,
            is_dc=case.circuit.is_dc,
            draw=draw,
        ),
        channel=channel,
    )
    share = fit.answer.values.get("used_share", 0.0) if fit.answer is not None else 0.0
    if fit.answer is None or "usable_a" not in fit.answer.values:
        return fit, share
    rating = rating_answer(sheet.rated_current_a, sheet.rated_power_w, case.circuit.voltage_v)
    return replace(fit, sentence=f"{fit.sentence}. {rating.sentence.rstrip('.')}"), share


def _together(channel: str, parts: Sequence[tuple[Fit, float]]) -> Fit:
    """Several loads at one channel: each by itself, and the parts of their limits that they use together.

    The parts add up: each load warms the contact by what it uses of its own limit. Derived, and on the safe side.
    """
    outcome = worst(fit for fit, _ in parts)
    used = sum(share for _, share in parts)
    said = [fit.sentence for fit, _ in parts if fit.outcome == outcome]
    if outcome == "met" and not is_within(used, 1.0):
        outcome = "broken"
    if outcome != "unverified":
        said.append(f"Together the loads use {percent(used)} of what {channel} takes")
    return Fit(rule=parts[0][0].rule, outcome=outcome, sentence=". ".join(said), channel=channel)


def _dimmer(case: Case, channel: str, loads: Sequence[Load]) -> Iterator[Fit]:
    unknown = [load for load in loads if load.total_w <= 0]
    if unknown:
        yield silent(FIT_DIMMER_LOAD, f"the plan does not say the power of {title_of(unknown[0])}", channel=channel)
    else:
        yield _dimmed(case, channel, loads)
    for load in dict.fromkeys(replace(load, name="", power_w=0.0, count=1) for load in loads):
        yield _edge(case, channel, load)


def _dimmed(case: Case, channel: str, loads: Sequence[Load]) -> Fit:
    """The watts of a dimmer's lamps. Several sorts are judged one by one, and their least and their most together."""
    sheet = case.sheet
    is_one = len(loads) == 1
    parts: list[tuple[Fit, float]] = []
    for load in loads:
        fit = asked(
            FIT_DIMMER_LOAD,
            partial(
                dimmer_answer,
                case.described(load),
                case.circuit.voltage_v,
                case.tables,
                rated_power_w=sheet.rated_power_w,
                rated_current_a=sheet.rated_current_a,
                minimum_load_w=sheet.minimum_load_w if is_one else 0.0,
                maximum_lamps=sheet.maximum_lamps,
            ),
            channel=channel,
        )
        values = fit.answer.values if fit.answer is not None else {}
        parts.append((fit, values["counted_w"] / values["usable_w"] if "usable_w" in values else 0.0))
    fit = parts[0][0] if is_one else _together(channel, parts)
    least, total = sheet.minimum_load_w, sum(load.total_w for load in loads)
    if not is_one and fit.outcome == "met":
        if least is None:
            return silent(FIT_DIMMER_LOAD, "the data sheet does not say minimum_load_w", channel=channel)
        if not is_within(least, total):
            sentence = f"{shown(total)} W together are less than the {shown(least)} W that the dimmer needs"
            fit = replace(fit, outcome="broken", sentence=sentence)
    lamps = sum(load.count for load in loads)
    if fit.outcome == "met" and sheet.maximum_lamps is not None and lamps > sheet.maximum_lamps:
        sentence = f"{lamps} lamps are more than the {sheet.maximum_lamps} that the data sheet allows"
        fit = replace(fit, outcome="broken", sentence=sentence)
    return fit


def _edge(case: Case, channel: str, load: Load) -> Fit:
    """A dimmer that cuts either edge is set to one: the planned one, else the one that suits."""
    planned = case.point.settings.get(f"{channel}.edge")
    edges: tuple[EdgeOfDimming | None, ...] = case.sheet.dimmer_edges or (None,)
    if planned is not None:
        edges = tuple(edge for edge in edges if edge == planned)
        if not edges:
            cuts = " and ".join(case.sheet.dimmer_edges)
            sentence = f"the plan sets the {planned} edge, and {case.profile.id} cuts the {cuts} edge only"
            return Fit(rule=FIT_DIMMER_EDGE, outcome="broken", sentence=sentence, channel=channel)
    fits = [
        asked(
            FIT_DIMMER_EDGE,
            partial(edge_answer, load.kind, edge, case.tables, asked=load.dimmed_by),
            channel=channel,
        )
        for edge in edges
    ]
    return next((fit for fit in fits if fit.outcome == "met"), fits[0])


def _strip(case: Case, channel: str, loads: Sequence[Load]) -> Iterator[Fit]:
    circuit, rated_a = case.circuit, case.sheet.rated_current_a
    if not circuit.is_dc:
        yield silent(FIT_LED_CURRENT, "the circuit is alternating current, on which no strip runs", channel=channel)
        return
    try:
        amperes = [drawn(case, load).current_a for load in loads]
    except CircuitError as error:
        yield silent(FIT_LED_CURRENT, error.what, channel=channel)
        return
    prefix = " and ".join(case.described(load).name for load in loads) + ": "
    if rated_a is None:
        why = f"{prefix}the data sheet of {case.profile.id} does not say rated_current_a"
        yield silent(FIT_LED_CURRENT, why, channel=channel)
    else:
        yield asked(FIT_LED_CURRENT, partial(_strips, case, channel, loads, amperes), channel=channel, prefix=prefix)
    for load, current_a in zip(loads, amperes, strict=True):
        if load.lead_mm2 is None or load.lead_m is None:
            yield silent(FIT_LED_DROP, f"the plan does not say the leads of {title_of(load)}", channel=channel)
            continue
        ask = partial(strip_drop_answer, lead_mm2=load.lead_mm2, lead_m=load.lead_m)
        yield asked(
            FIT_LED_DROP,
            partial(ask, current_a, circuit.voltage_v, case.tables),
            channel=channel,
            prefix=f"{shown(load.lead_m)} m of {shown(load.lead_mm2)} mm²: ",
        )


def _strips(case: Case, channel: str, loads: Sequence[Load], amperes: Sequence[float]) -> Answer:
    load, voltage_v, rated_a = loads[0], case.circuit.voltage_v, case.sheet.rated_current_a
    factor = case.tables.figure("module_continuous_factor")
    if len(loads) == 1 and load.strip_w_per_m is not None and load.strip_m is not None:
        lasting = factor if load.is_continuous else None
        length_m = load.strip_m * load.count
        return strip_answer(load.strip_w_per_m, length_m, voltage_v, rated_channel_a=rated_a, continuous=lasting)
    counted = sum(
        current_a * (factor.value if load.is_continuous else 1.0)
        for load, current_a in zip(loads, amperes, strict=True)
    )
    return channels_answer({channel: counted}, voltage_v, rated_current_a=rated_a)


def _led_supply(case: Case) -> Iterator[Fit]:
    """The supply of an LED controller feeds all of its strips; a strip behind a relay has one of its own."""
    strips = [load for load in case.circuit.loads if load.kind == "led-strip"]
    behind = [load for load in strips if load.channel.startswith("led.")]
    groups = ([behind] if behind else []) + [[load] for load in strips if load not in behind]
    for group in groups:
        supplies = {load.supply_w for load in group if load.supply_w is not None}
        channel = None if group is behind else group[0].channel
        if len(supplies) != 1:
            several = " and ".join(f"{shown(watts)} W" for watts in sorted(supplies))
            why = f"the plan names supplies of {several} for one controller"
            if not supplies:
                why = "the plan does not say the supply (supply_w)"
            yield silent(FIT_LED_SUPPLY, why, channel=channel)
            continue
        (supply_w,) = supplies
        unknown = [load for load in group if load.total_w <= 0]
        if unknown:
            yield silent(FIT_LED_SUPPLY, f"the plan does not say the power of {title_of(unknown[0])}", channel=channel)
            continue
        total = sum(load.total_w for load in group)
        yield asked(
            FIT_LED_SUPPLY,
            partial(supply_size_answer, total, case.tables, supply_w=supply_w),
            channel=channel,
            prefix=f"{' and '.join(pieces(load) for load in group)} of strip: ",
        )
        if group is behind and case.tables.family == "nec" and case.circuit.is_dc:
            yield asked(FIT_CLASS_2, partial(class2_answer, supply_w, case.circuit.voltage_v, case.tables))


def _currents_a(case: Case) -> dict[str, float]:
    """Amperes by channel, of what the module's own circuit feeds, continuous loads as they count against a module."""
    factor = case.tables.value("module_continuous_factor")
    fed = [load for load in case.circuit.loads if not case.is_fed_elsewhere(load)]
    currents = dict.fromkeys(case.channels, 0.0)
    for load, draw in zip(fed, drawn_together(case, fed, continuous_factor=factor), strict=True):
        currents[load.channel] += draw.counted_a(factor)
    return currents


def _total(case: Case) -> Iterator[Fit]:
    """All channels together. What each of them carries by itself is judged where its load is."""
    sheet = case.sheet
    if case.profile.module_class == "shutter" or len(case.profile.load_channels) < 2 or not case.circuit.loads:
        return
    try:
        currents = _currents_a(case)
    except CircuitError as error:
        yield silent(FIT_TOTAL, error.what)
        return
    if sheet.total_current_a is None and len(currents) > 1:
        yield silent(FIT_TOTAL, f"the data sheet of {case.profile.id} does not say total_current_a")
        return
    try:
        answer = channels_answer(
            currents,
            case.circuit.voltage_v,
            rated_current_a=sheet.rated_current_a,
            rated_power_w=sheet.rated_power_w,
            total_rated_a=sheet.total_current_a,
        )
    except CircuitError as error:
        yield silent(FIT_TOTAL, str(error).rstrip("."))
        return
    total, limit = answer.values["total_a"], answer.values.get("total_limit_a")
    if limit is None:
        return
    fits = is_within(total, limit)
    each = " + ".join(f"{shown(amperes)} A" for amperes in currents.values())
    sentence = f"{each} = {shown(total)} A" if len(currents) > 1 else f"{shown(total)} A"
    factor = case.tables.figure("module_continuous_factor")
    if factor.value != 1 and any(load.is_continuous for load in case.circuit.loads):
        sentence += f" with continuous loads at {percent(factor.value)}"
        line = step("continuous loads as they count", "k", shown(factor.value), factor.value, "1", factor.source)
        answer = replace(answer, lines=(line, *answer.lines))
    sentence += f" {'are within' if fits else 'are more than'} the {shown(limit)} A that the module carries in all"
    yield Fit(rule=FIT_TOTAL, outcome="met" if fits else "broken", sentence=sentence, answer=answer)
