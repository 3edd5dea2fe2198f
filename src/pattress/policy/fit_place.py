"""Fitness of a module for its place: supply, neutral, contact, separation, breaker, voltage drop, box, warmth.

What belongs here: questions about the circuit and the box. What does not: those about one channel (`fit_channels`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from pattress.circuit.box_fill import box_answer
from pattress.circuit.conductors import size_of
from pattress.circuit.load import Draw, breaker_answer, draw_of
from pattress.circuit.supply import contact_answer, neutral_answer, separation_answer, supply_answer
from pattress.circuit.voltage_drop import Use, drop_answer
from pattress.circuit.working import Answer, shown
from pattress.model.circuit import Conductors, Load
from pattress.model.errors import CircuitError
from pattress.policy.fit_case import LAMPS, Case, Fit, asked, silent, title_of
from pattress.policy.fit_rules import (
    FIT_AMBIENT,
    FIT_BOX_ROOM,
    FIT_BREAKER,
    FIT_CONTACT,
    FIT_NEUTRAL,
    FIT_SEPARATION,
    FIT_SUPPLY,
    FIT_VOLTAGE_DROP,
)


def place_fits(case: Case) -> Iterator[Fit]:
    """Yield the outcome of every question about the place, in the order in which an electrician looks."""
    yield _supply(case)
    if not case.circuit.is_dc:
        yield asked(FIT_NEUTRAL, partial(neutral_answer, case.sheet.needs_neutral, case.circuit.has_neutral))
    yield from _contacts(case)
    yield _separation(case)
    fed = [load for load in case.circuit.loads if not case.is_fed_elsewhere(load)]
    if fed:
        yield from _breaker_and_drop(case, fed)
    if case.circuit.box is not None or any(size.box_cm3 is not None for size in case.tables.sizes):
        yield _box(case)  # a code family without such a rule is asked only where the plan describes a box
    yield _ambient(case)


def is_open_socket(load: Load) -> bool:
    """Whether a load is a socket of which nobody says what it will feed."""
    return load.kind == "socket" and load.total_w <= 0


def drawn(case: Case, load: Load) -> Draw:
    """Return what a load draws from the circuit. A socket of no stated power draws all that the breaker lets through.

    Raises:
        CircuitError: If the plan does not say its power.
    """
    circuit = case.circuit
    draw = draw_of(load, circuit.voltage_v, case.tables, is_dc=circuit.is_dc, breaker_a=circuit.breaker_a)
    if not draw.is_known:
        raise CircuitError(
            f"the plan does not say the power of {title_of(load)}", where="load", next_step="Give its power_w."
        )
    return draw


def drawn_together(case: Case, loads: Sequence[Load], *, continuous_factor: float = 1.0) -> list[Draw]:
    """Return what each of several loads draws at one time, continuous loads counting so much.

    Sockets of no stated power share what the breaker lets through beside the others: all of it flows through the
    breaker, so that they never draw that much each.

    Raises:
        CircuitError: If the plan does not say the power of one.
    """
    draws = [drawn(case, load) for load in loads]
    is_open = [is_open_socket(load) for load in loads]
    if case.circuit.breaker_a is None or not any(is_open):
        return draws
    known = sum(draw.counted_a(continuous_factor) for draw, is_any in zip(draws, is_open, strict=True) if not is_any)
    each_a = max(case.circuit.breaker_a - known, 0.0) / sum(is_open)
    each_va = each_a * case.circuit.voltage_v
    return [
        replace(draw, current_a=each_a, apparent_va=each_va) if is_any else draw
        for draw, is_any in zip(draws, is_open, strict=True)
    ]


def _supply(case: Case) -> Fit:
    circuit, sheet = case.circuit, case.sheet
    return asked(
        FIT_SUPPLY,
        partial(
            supply_answer,
            circuit.voltage_v,
            case.tables,
            is_dc=circuit.is_dc,
            supply_ac_v=sheet.supply_ac_v,
            supply_dc_v=sheet.supply_dc_v,
            led_supply_v=sheet.led_supply_v,
        ),
    )


def _contacts(case: Case) -> Iterator[Fit]:
    for load in case.circuit.loads:
        if case.is_fed_elsewhere(load):
            wants = load.is_extra_low_voltage and not case.is_extra_low
            told = replace(case.described(load), is_extra_low_voltage=wants)
            yield asked(
                FIT_CONTACT, partial(contact_answer, told, case.sheet.has_isolated_contact), channel=load.channel
            )


def _separation(case: Case) -> Fit:
    circuit = case.circuit
    return asked(
        FIT_SEPARATION,
        partial(
            separation_answer,
            circuit.loads,
            circuit.voltage_v,
            case.tables,
            is_dc=circuit.is_dc,
            separation=circuit.separation,
        ),
    )


def _breaker_and_drop(case: Case, fed: list[Load]) -> Iterator[Fit]:
    circuit = case.circuit
    needs_breaker = circuit.breaker_a is not None or not case.is_extra_low
    try:
        draws = drawn_together(case, fed, continuous_factor=case.tables.value("continuous_factor"))
        amperes = sum(draw.current_a for draw in drawn_together(case, fed))
    except CircuitError as error:
        if needs_breaker:
            yield silent(FIT_BREAKER, error.what)
        yield silent(FIT_VOLTAGE_DROP, error.what)
        return
    if circuit.breaker_a is not None:
        yield asked(FIT_BREAKER, partial(_breaker, case, draws, circuit.breaker_a))
    elif needs_breaker:
        yield silent(FIT_BREAKER, "the plan does not say the breaker (breaker_a)")
    if circuit.conductors is None or circuit.length_m is None:
        missing = [
            word
            for word, value in (("conductor_mm2 or conductor_awg", circuit.conductors), ("length_m", circuit.length_m))
            if value is None
        ]
        yield silent(FIT_VOLTAGE_DROP, f"the plan does not say {' and '.join(missing)}")
        return
    use: Use = "lighting" if all(load.kind in LAMPS for load in fed) else "other"
    yield asked(FIT_VOLTAGE_DROP, partial(_drop, case, amperes, circuit.conductors, circuit.length_m, use))


def _drop(case: Case, current_a: float, conductors: Conductors, length_m: float, use: Use) -> Answer:
    size = size_of(conductors, case.tables)
    return drop_answer(current_a, length_m, size, case.circuit.voltage_v, case.tables, use=use)


def _breaker(case: Case, draws: list[Draw], breaker_a: float) -> Answer:
    conductors = case.circuit.conductors
    size = None if conductors is None else size_of(conductors, case.tables)
    return breaker_answer(draws, breaker_a, case.tables, size=size)


def _box(case: Case) -> Fit:
    box = case.circuit.box
    if box is None:
        return silent(FIT_BOX_ROOM, "the plan says nothing of the box: see [point.box]")
    module = box.module_cm3 if box.module_cm3 is not None else case.sheet.module_cm3
    if module is None:
        return silent(FIT_BOX_ROOM, f"neither the plan nor the data sheet of {case.profile.id} says module_cm3")
    return asked(FIT_BOX_ROOM, partial(box_answer, replace(box, module_cm3=module), case.tables))


def _ambient(case: Case) -> Fit:
    limit, warmest = case.sheet.maximum_temperature_c, case.circuit.ambient_c
    if limit is None:
        return silent(FIT_AMBIENT, f"the data sheet of {case.profile.id} does not say maximum_temperature_c")
    if warmest is None:
        return silent(FIT_AMBIENT, "the plan does not say ambient_c")
    word = "within" if warmest <= limit else "above"
    return Fit(
        rule=FIT_AMBIENT,
        outcome="met" if warmest <= limit else "broken",
        sentence=f"the room gets {shown(warmest)} °C warm, {word} the {shown(limit)} °C that the module stands",
    )
