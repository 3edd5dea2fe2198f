"""What a module needs of its place."""

import pytest

from pattress.circuit.supply import (
    ISOLATE,
    channels_answer,
    contact_answer,
    neutral_answer,
    separation_answer,
    supply_answer,
)
from pattress.model.circuit import Load, Separation
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")
LAMP = Load(channel="output.1", kind="led-lamp", power_w=9)
GATE = Load(channel="output.2", kind="electronic", name="the gate's input", is_potential_free=True)
BELL = Load(channel="output.2", kind="electronic", name="the bell", is_extra_low_voltage=True)


def test_mains_that_may_leave_the_range_is_a_caution() -> None:
    narrow = supply_answer(230, IEC, supply_ac_v=(220, 240), supply_dc_v=None)
    wide = supply_answer(230, IEC, supply_ac_v=(110, 260), supply_dc_v=None)

    assert narrow.verdict == wide.verdict == "fits"
    assert any("between 207 and 253 V" in caution for caution in narrow.cautions)
    assert not any("207" in caution for caution in wide.cautions)


def test_a_module_without_a_range_of_that_current_does_not_fit() -> None:
    assert supply_answer(24, IEC, is_dc=True, supply_ac_v=(110, 260), supply_dc_v=None).verdict == "unfit"
    assert supply_answer(230, IEC, supply_ac_v=None, supply_dc_v=(12, 48)).verdict == "unfit"
    assert supply_answer(230, IEC, supply_ac_v=None, supply_dc_v=None).verdict == "undecided"


@pytest.mark.parametrize(
    ("voltage_v", "is_dc", "verdict"),
    [(24, True, "fits"), (12, True, "fits"), (18, True, "unfit"), (48, True, "unfit"), (24, False, "undecided")],
)
def test_the_voltages_of_an_led_controller_are_enough_to_judge_its_supply(
    voltage_v: float, is_dc: bool, verdict: str
) -> None:
    answer = supply_answer(voltage_v, IEC, is_dc=is_dc, supply_ac_v=None, supply_dc_v=None, led_supply_v=(12, 24))

    assert answer.verdict == verdict


def test_a_range_upside_down_is_refused() -> None:
    with pytest.raises(CircuitError, match="upside down"):
        supply_answer(230, IEC, supply_ac_v=(260, 110), supply_dc_v=None)


@pytest.mark.parametrize(
    ("needs", "has", "verdict"),
    [
        (True, True, "fits"),
        (True, False, "unfit"),
        (True, None, "undecided"),
        (False, False, "fits"),
        (False, None, "fits"),
        (None, True, "fits"),
        (None, False, "undecided"),
        (None, None, "undecided"),
    ],
)
def test_a_neutral_that_is_not_known_is_never_taken_to_be_there(
    needs: bool | None, has: bool | None, verdict: str
) -> None:
    assert neutral_answer(needs, has).verdict == verdict


def test_the_earth_is_never_offered_in_the_place_of_a_neutral() -> None:
    assert any("Never use the protective earth" in caution for caution in neutral_answer(True, False).cautions)


@pytest.mark.parametrize(
    ("load", "isolated", "verdict"),
    [
        (LAMP, False, "fits"),
        (LAMP, None, "fits"),
        (GATE, True, "fits"),
        (GATE, False, "unfit"),
        (GATE, None, "undecided"),
        (BELL, False, "unfit"),
    ],
)
def test_a_contact_that_puts_mains_where_none_belongs_does_not_fit(
    load: Load, isolated: bool | None, verdict: str
) -> None:
    assert contact_answer(load, isolated).verdict == verdict


def test_extra_low_voltage_and_mains_do_not_share_a_box() -> None:
    assert separation_answer([LAMP], 230, IEC).verdict == "fits"
    assert separation_answer([LAMP, BELL], 230, IEC).verdict == "unfit"
    assert separation_answer([BELL], 24, IEC, is_dc=True).verdict == "fits"
    assert separation_answer([LAMP], 230, IEC, separation="none").verdict == "unfit"
    assert separation_answer([BELL], 24, IEC, is_dc=True, separation="none").verdict == "unfit"
    assert "the bell" in separation_answer([LAMP, BELL], 230, IEC).sentence


@pytest.mark.parametrize(
    ("separation", "words"),
    [
        # IEC 60364-4-41 section 414.4 and 60364-5-52 section 528.1, NEC 725.136; from memory
        ("barrier", "by a barrier: it must stand between every core of the one and of the other"),
        (
            "distance",
            "by distance: both must be fixed so that no core that slips out of its terminal reaches the other",
        ),
        ("insulation", "by insulation: every core of both must be insulated for the highest voltage present"),
    ],
)
def test_what_is_kept_apart_fits_with_what_must_hold_at_the_box(separation: Separation, words: str) -> None:
    at_mains = separation_answer([LAMP, BELL], 230, IEC, separation=separation)
    beside_mains = separation_answer([BELL], 24, IEC, is_dc=True, separation=separation)

    assert at_mains.verdict == beside_mains.verdict == "fits"
    assert at_mains.sentence.startswith(
        "Extra-low voltage (the bell) and 230 V are in one box, planned to be kept apart"
    )
    assert beside_mains.sentence.startswith("Extra-low voltage (the bell) and mains are in one box")
    for answer in (at_mains, beside_mains):
        assert words in answer.sentence
        assert answer.sentence.endswith("local codes come first.")
        assert ISOLATE in answer.cautions
    assert any("reinforced insulation" in caution for caution in at_mains.cautions)
    assert not any("reinforced insulation" in caution for caution in beside_mains.cautions)


@pytest.mark.parametrize(("volts", "is_dc", "limit"), [(50, False, 50), (120, True, 120)])
def test_the_limit_of_extra_low_voltage_is_that_of_the_family(volts: float, is_dc: bool, limit: float) -> None:
    at, above = (separation_answer([BELL], each, IEC, is_dc=is_dc) for each in (volts, volts + 1))

    assert at.values["limit_v"] == limit
    assert (at.verdict, above.verdict) == ("fits", "unfit")
    assert separation_answer([BELL], 50, NEC).verdict == "unfit"


def test_a_total_that_nobody_states_is_undecided_where_two_channels_carry() -> None:
    two = channels_answer({"output.1": 5, "output.2": 5}, 230, rated_current_a=10)
    one = channels_answer({"output.1": 5, "output.2": 0}, 230, rated_current_a=10)
    stated = channels_answer({"output.1": 5, "output.2": 5}, 230, rated_current_a=10, total_rated_a=9)

    assert [two.verdict, one.verdict, stated.verdict] == ["undecided", "fits", "unfit"]
    assert "10 A, more than the module's total rating, 9 A" in stated.sentence


def test_the_lower_of_two_totals_has_its_own_source() -> None:
    answer = channels_answer({"output.1": 8}, 230, rated_current_a=10, total_rated_a=16, breaker_a=10)

    assert [(line.what, line.result, line.source) for line in answer.lines[-1:]] == [("the breaker", 10, "as asked")]


def test_a_total_is_judged_where_no_channel_has_a_rating() -> None:
    over = channels_answer({"output.1": 10, "output.2": 9}, 230, rated_current_a=None, total_rated_a=16)
    within = channels_answer({"output.1": 8, "output.2": 8}, 230, rated_current_a=None, total_rated_a=16)

    assert (over.verdict, within.verdict) == ("unfit", "undecided")
    assert over.values["total_limit_a"] == 16
    assert "All channels together carry 19 A, more than the module's total rating, 16 A." in over.sentence


def test_each_channel_over_its_limit_is_named() -> None:
    answer = channels_answer({"output.1": 11, "output.2": 12}, 230, rated_current_a=10, rated_power_w=2300)

    assert "output.1 carries 11 A" in answer.sentence
    assert "output.2 carries 12 A" in answer.sentence
    assert channels_answer({"output.1": 1}, 230, rated_current_a=None).verdict == "undecided"
