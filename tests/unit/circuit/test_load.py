"""Amperes of loads, and what carries them."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.conductors import size_of
from pattress.circuit.load import (
    UNKNOWN_SOCKET,
    breaker_answer,
    capacity_of,
    current_a,
    draw_of,
    load_answer,
    power_factor_of,
    rating_answer,
)
from pattress.model.circuit import Conductors, Load
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")
WATTS = some.floats(min_value=0, max_value=1e6)
VOLTS = some.floats(min_value=1, max_value=1000)
FACTORS = some.floats(min_value=0.1, max_value=1)
THIN = size_of(Conductors(mm2=1.5), IEC)
DOWNLIGHTS = Load(channel="output.1", kind="led-lamp", name="six downlights", power_w=9, count=6, power_factor=0.9)


@of(WATTS, VOLTS, FACTORS)
def test_more_watts_are_more_amperes_and_more_volts_fewer(watts: float, volts: float, factor: float) -> None:
    here = current_a(watts, volts, power_factor=factor)

    assert current_a(watts + 1, volts, power_factor=factor) > here
    assert current_a(watts, volts * 2, power_factor=factor) == pytest.approx(here / 2)
    assert current_a(watts, volts, power_factor=1) <= here * (1 + 1e-12)


@of(WATTS, VOLTS)
def test_three_phases_carry_a_load_with_fewer_amperes_each(watts: float, volts: float) -> None:
    assert current_a(watts, volts, phases=3) * 3**0.5 == pytest.approx(current_a(watts, volts))


@of(some.floats(min_value=0.01, max_value=1000), some.integers(min_value=1, max_value=100))
def test_pieces_add_up(watts: float, count: int) -> None:
    one = draw_of(Load(channel="output.1", kind="resistive", power_w=watts), 230, IEC)
    all_of_them = draw_of(Load(channel="output.1", kind="resistive", power_w=watts, count=count), 230, IEC)

    assert all_of_them.current_a == pytest.approx(count * one.current_a)


def test_a_lamp_group_is_worked_line_by_line() -> None:
    answer = load_answer(DOWNLIGHTS, 230, IEC)

    assert answer.verdict == "figure"
    assert [(line.what, line.unit) for line in answer.lines] == [
        ("power", "W"),
        ("volt-amperes", "VA"),
        ("current", "A"),
    ]
    assert [line.result for line in answer.lines] == pytest.approx([54, 60, 60 / 230])
    assert answer.sentence == "six downlights: 0.2609 A at 230 V (54 W, power factor 0.9)."


def test_a_power_factor_that_is_not_said_is_the_kinds_and_says_so() -> None:
    lamp = Load(channel="output.1", kind="led-lamp", power_w=9)

    assert power_factor_of(lamp, 230, IEC).value == 0.5
    assert "common practice" in load_answer(lamp, 230, IEC).lines[1].source
    assert power_factor_of(lamp, 230, IEC, is_dc=True).value == 1.0


def test_a_motor_takes_up_more_than_it_gives_off() -> None:
    motor = Load(channel="output.1", kind="motor", power_w=750, power_factor=1.0)

    answer = load_answer(motor, 230, IEC, efficiency=0.75)

    assert answer.values["input_w"] == pytest.approx(1000)
    assert "power taken up" in [line.what for line in answer.lines]


def test_a_socket_whose_load_is_not_known_draws_what_the_breaker_lets_through() -> None:
    sockets = Load(channel="output.1", kind="socket")

    assert draw_of(sockets, 230, IEC, breaker_a=16).current_a == 16
    assert not draw_of(sockets, 230, IEC).is_known
    assert load_answer(sockets, 230, IEC).cautions == (UNKNOWN_SOCKET,)


def test_a_load_of_unknown_power_leaves_the_breaker_undecided() -> None:
    known = draw_of(DOWNLIGHTS, 230, IEC)
    unknown = draw_of(Load(channel="output.2", kind="led-lamp"), 230, IEC)

    assert breaker_answer([known, unknown], 16, IEC, size=THIN).verdict == "undecided"
    assert breaker_answer([known], 16, IEC, size=THIN).verdict == "fits"


def test_a_contact_free_of_potential_draws_nothing_and_that_is_known() -> None:
    gate = draw_of(Load(channel="output.1", kind="electronic", is_potential_free=True), 230, IEC)

    assert (gate.current_a, gate.is_known) == (0.0, True)


def test_a_rating_in_amperes_alone_or_watts_alone_counts() -> None:
    assert rating_answer(10, None, 230).values["rating_a"] == 10
    assert rating_answer(None, 2300, 230).values["rating_a"] == pytest.approx(10)
    assert rating_answer(None, None, 230).verdict == "undecided"


@of(some.floats(min_value=0.1, max_value=63), some.floats(min_value=1, max_value=1e5), VOLTS)
def test_a_rating_is_never_above_either_of_its_two(amperes: float, watts: float, volts: float) -> None:
    rating = rating_answer(amperes, watts, volts).values["rating_a"]

    assert rating <= amperes
    assert rating * volts <= watts * (1 + 1e-9)


def test_a_breaker_that_does_not_protect_its_conductor_does_not_fit() -> None:
    draws = [draw_of(DOWNLIGHTS, 230, IEC)]

    answer = breaker_answer(draws, 20, IEC, size=THIN)

    assert answer.verdict == "unfit"
    assert "does not protect 1.5 mm²" in answer.sentence
    assert breaker_answer(draws, 16, IEC, size=THIN).verdict == "fits"
    assert breaker_answer(draws, 16, IEC, size=THIN, laying="A1").verdict == "unfit"


def test_a_conductor_left_unsaid_leaves_the_breaker_undecided_and_is_said_so() -> None:
    draws = [draw_of(DOWNLIGHTS, 230, IEC)]

    answer = breaker_answer(draws, 16, IEC)

    assert answer.verdict == "undecided"
    assert "whether the breaker protects it was not judged" in answer.sentence
    assert breaker_answer(draws, 0.1, IEC).verdict == "unfit"


def test_a_way_of_laying_that_is_not_in_the_tables_is_told_the_nearest() -> None:
    with pytest.raises(CircuitError, match=r"there is no way of laying 'B3'.*Did you mean B"):
        capacity_of(size_of(Conductors(mm2=1.5), IEC), IEC, "B3")


def test_a_size_that_no_circuit_is_wired_with_has_no_capacity() -> None:
    with pytest.raises(CircuitError, match="say nothing of what 18 AWG carries"):
        capacity_of(size_of(Conductors(awg=18), NEC), NEC)


def test_direct_current_has_no_phases() -> None:
    with pytest.raises(CircuitError, match="direct current has no phases"):
        load_answer(DOWNLIGHTS, 24, IEC, is_dc=True, phases=3)
