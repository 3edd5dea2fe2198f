"""LED strips, their leads and their supply."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.led import (
    NO_CLASS_2,
    class2_answer,
    lead_ohm_per_m,
    strip_answer,
    strip_drop_answer,
    supply_size_answer,
)
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")


def test_a_channel_over_its_limit_says_how_much_strip_fits() -> None:
    answer = strip_answer(14.4, 10, 12, channels=2, rated_channel_a=4)

    assert answer.verdict == "unfit"
    assert "6 A are more than the 4 A of the channel" in answer.sentence
    assert answer.values["longest_m"] == pytest.approx(6.6667, abs=0.001)


def test_the_controllers_total_counts_beside_the_channels() -> None:
    answer = strip_answer(19.2, 5, 12, channels=4, rated_channel_a=4, rated_total_a=7)

    assert answer.verdict == "unfit"
    assert "8 A are more than the 7 A of the controller" in answer.sentence


def test_a_strip_without_a_rating_is_a_figure() -> None:
    assert strip_answer(14.4, 5, 24).verdict == "figure"


@of(
    some.floats(min_value=1, max_value=40),
    some.floats(min_value=0.1, max_value=50),
    some.sampled_from([5.0, 12.0, 24.0, 48.0]),
    some.integers(min_value=1, max_value=5),
)
def test_the_longest_strip_fits_and_one_percent_more_does_not(
    density: float, metres: float, volts: float, channels: int
) -> None:
    longest = strip_answer(density, metres, volts, channels=channels, rated_channel_a=4).values["longest_m"]

    just = strip_answer(density, longest, volts, channels=channels, rated_channel_a=4)
    over = strip_answer(density, longest * 1.01, volts, channels=channels, rated_channel_a=4)

    assert (just.verdict, over.verdict) == ("fits", "unfit")


def test_a_supply_needs_headroom() -> None:
    assert supply_size_answer(80, IEC, supply_w=100).verdict == "fits"
    assert supply_size_answer(81, IEC, supply_w=100).verdict == "unfit"
    assert supply_size_answer(80, IEC).values["needed_w"] == pytest.approx(100)


def test_leads_and_strip_add_up() -> None:
    answer = strip_drop_answer(3, 24, IEC, lead_mm2=0.75, lead_m=5, strip_m=5, strip_ohm_per_m=0.02)

    assert answer.values["drop_v"] == pytest.approx(answer.values["lead_drop_v"] + answer.values["strip_drop_v"])
    assert answer.values["strip_drop_v"] == pytest.approx(0.3)
    assert answer.verdict == "fits"
    assert [line.result for line in answer.lines[:3]] == pytest.approx([0.78, 0.3, 1.08])  # 2 · 3 A · 5 m · 26 mΩ/m
    assert answer.lines[2].numbers == "0.78 V + 0.3 V"


def test_feeding_both_ends_halves_the_leads_and_quarters_the_strip() -> None:
    one = strip_drop_answer(6, 24, IEC, lead_mm2=0.75, lead_m=5, strip_m=5, strip_ohm_per_m=0.02)
    both = strip_drop_answer(6, 24, IEC, lead_mm2=0.75, lead_m=5, strip_m=5, strip_ohm_per_m=0.02, both_ends=True)

    assert both.values["lead_drop_v"] == pytest.approx(one.values["lead_drop_v"] / 2)
    assert both.values["strip_drop_v"] == pytest.approx(one.values["strip_drop_v"] / 4)


@of(some.floats(min_value=0.1, max_value=10), some.sampled_from([0.5, 0.75, 1.5, 2.5, 3.3]))
def test_the_longest_leads_drop_just_what_is_allowed(amperes: float, area: float) -> None:
    first = strip_drop_answer(amperes, 24, IEC, lead_mm2=area, lead_m=1)

    just = strip_drop_answer(amperes, 24, IEC, lead_mm2=area, lead_m=first.values["longest_lead_m"])

    assert just.values["drop_v"] == pytest.approx(just.values["allowed_v"])
    assert just.verdict == "fits"


def test_a_strip_that_drops_too_much_by_itself_leaves_no_leads() -> None:
    answer = strip_drop_answer(6, 12, IEC, lead_mm2=0.75, lead_m=1, strip_m=10, strip_ohm_per_m=0.02)

    assert answer.verdict == "unfit"
    assert answer.values["longest_lead_m"] == 0


def test_a_strip_whose_resistance_is_not_said_is_said_to_be_left_out() -> None:
    answer = strip_drop_answer(3, 24, IEC, lead_mm2=0.75, lead_m=2)

    assert any("was left out" in caution for caution in answer.cautions)


def test_leads_without_an_area_are_refused() -> None:
    with pytest.raises(CircuitError, match="leads have a length and no area"):
        strip_drop_answer(3, 24, IEC, lead_m=2)


def test_leads_that_no_table_has_resist_as_fine_wires_do() -> None:
    assert lead_ohm_per_m(0.75, NEC).value == pytest.approx(1.16 * 0.017241 / 0.75)
    assert lead_ohm_per_m(0.75, IEC).value == pytest.approx(0.026)
    gauge_18 = next(one for one in NEC.sizes if one.awg == 18)
    assert lead_ohm_per_m(gauge_18.area_mm2, NEC).value == pytest.approx(1.16 * 0.017241 / gauge_18.area_mm2)


def test_above_class_2_a_caution_says_what_follows() -> None:
    assert NO_CLASS_2 in class2_answer(150, 24, NEC).cautions
    assert NO_CLASS_2 not in class2_answer(60, 24, NEC).cautions
