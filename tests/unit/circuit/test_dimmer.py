"""Dimmers and their lamps."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.dimmer import dimmer_answer, edge_answer, lamp_count
from pattress.model.circuit import EdgeOfDimming, Load, LoadKind
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")


def lamps(watts: float, count: int = 1, kind: LoadKind = "led-lamp", factor: float = 0.9) -> Load:
    return Load(channel="dimmer.1", kind=kind, name="the lamps", power_w=watts, count=count, power_factor=factor)


def test_too_few_lamps_are_told_how_many_are_needed() -> None:
    answer = dimmer_answer(lamps(4, 2), 230, IEC, rated_power_w=200, minimum_load_w=20)

    assert answer.verdict == "unfit"
    assert "8 W are less than the 20 W that the dimmer needs" in answer.sentence
    assert "At least 5 such lamps" in answer.sentence
    assert (answer.values["fewest"], answer.values["most"]) == (5, 25)


def test_too_many_lamps_are_told_how_many_fit() -> None:
    answer = dimmer_answer(lamps(9, 12), 230, IEC, rated_power_w=200, minimum_load_w=3)

    assert answer.verdict == "unfit"
    assert "108 W (120 VA) are more than the 100 W" in answer.sentence
    assert "At most 11 such lamps fit" in answer.sentence


def test_volt_amperes_count_too() -> None:
    assert dimmer_answer(lamps(90, factor=0.3), 230, IEC, rated_power_w=200, minimum_load_w=3).verdict == "unfit"
    assert dimmer_answer(lamps(90, factor=0.9), 230, IEC, rated_power_w=200, minimum_load_w=3).verdict == "fits"


def test_what_is_said_to_fit_at_most_fits_by_its_volt_amperes_too() -> None:
    many = dimmer_answer(lamps(9, 10, factor=0.3), 230, IEC, rated_power_w=200, minimum_load_w=3)

    # 200 VA x 0.3 = 60 W, six lamps of 9 W; ten draw 90 W / 0.3 = 300 VA
    assert (many.verdict, many.values["usable_w"], many.values["most"]) == ("unfit", pytest.approx(60), 6)
    assert "90 W (300 VA) are more than the 60 W" in many.sentence
    assert dimmer_answer(lamps(9, 6, factor=0.3), 230, IEC, rated_power_w=200, minimum_load_w=3).verdict == "fits"


def test_a_load_of_just_what_the_dimmer_needs_is_enough() -> None:
    just = dimmer_answer(
        lamps(0.7, 3), 230, IEC, rated_power_w=200, minimum_load_w=2.1
    )  # 0.7 x 3 is 2.0999999999999996

    assert just.verdict == "fits"


@pytest.mark.parametrize("kind", ["motor", "socket", "fluorescent", "resistive", "electronic", "led-strip"])
def test_what_cannot_be_dimmed_never_fits(kind: LoadKind) -> None:
    assert dimmer_answer(lamps(50, kind=kind), 230, IEC, rated_power_w=200, minimum_load_w=3).verdict == "unfit"
    assert edge_answer(kind, "trailing", IEC).verdict == "unfit"


def test_what_is_not_known_is_undecided() -> None:
    assert dimmer_answer(lamps(50), 230, IEC, rated_power_w=None, minimum_load_w=3).verdict == "undecided"
    assert dimmer_answer(lamps(0), 230, IEC, rated_power_w=200, minimum_load_w=3).verdict == "undecided"
    assert dimmer_answer(lamps(5), 230, IEC, rated_power_w=200, minimum_load_w=None).verdict == "undecided"
    assert dimmer_answer(lamps(50), 230, IEC, rated_power_w=200, minimum_load_w=None).verdict == "fits"
    assert edge_answer("led-lamp", None, IEC).verdict == "undecided"


def test_the_lower_of_two_ratings_counts() -> None:
    answer = dimmer_answer(
        lamps(150, kind="halogen", factor=1), 230, IEC, rated_power_w=200, rated_current_a=0.5, minimum_load_w=3
    )

    assert answer.verdict == "unfit"
    assert answer.values["usable_w"] == pytest.approx(115)


@pytest.mark.parametrize(
    ("kind", "edge", "asked", "verdict"),
    [
        ("led-lamp", "trailing", None, "fits"),
        ("led-lamp", "leading", None, "unfit"),
        ("led-lamp", "leading", "leading", "fits"),
        ("led-lamp", "trailing", "leading", "unfit"),
        ("incandescent", "leading", None, "fits"),
        ("incandescent", "trailing", None, "fits"),
    ],
)
def test_the_edge_that_the_lamp_asks_for_counts_first(
    kind: LoadKind, edge: EdgeOfDimming, asked: EdgeOfDimming | None, verdict: str
) -> None:
    assert edge_answer(kind, edge, IEC, asked=asked).verdict == verdict


@of(
    some.floats(min_value=0.5, max_value=100),
    some.floats(min_value=0, max_value=100),
    some.floats(min_value=1, max_value=1000),
)
def test_the_counts_are_the_last_that_fit(watts: float, least: float, usable: float) -> None:
    fewest, most = lamp_count(watts, least, usable)

    assert fewest * watts >= least * (1 - 1e-6)
    assert fewest == 1 or (fewest - 1) * watts < least
    assert most * watts <= usable * (1 + 1e-6)
    assert (most + 1) * watts > usable


def test_a_lamp_of_no_power_is_refused() -> None:
    with pytest.raises(CircuitError):
        lamp_count(0, 3, 200)
