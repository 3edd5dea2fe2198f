"""Whether the channels of a module suit what they feed."""

from dataclasses import replace
from typing import Any

import pytest

from pattress.model.circuit import Conductors, Load
from pattress.site.files import parse_toml
from pattress.site.tables_file import tables_of
from unit.policy.fit_examples import (
    AMERICA,
    DIMMER,
    DOWNLIGHTS,
    DRY,
    HEATER,
    IEC,
    LIFT,
    NEC,
    RELAY,
    RIBBON,
    STRIP,
    STRIP_SUPPLY,
    TWIN,
    judged,
    rated,
)


@pytest.mark.parametrize(
    ("voltage_v", "power_w", "outcome", "rating"),
    [
        # 3500 W at 120 V would be 29.2 A: the 16 A are reached first. At 230 V they are 15.2 A: the watts are first.
        (120, 1900, "met", "16 A, that is 1920 VA, by its 16 A"),
        (120, 1950, "broken", "16 A, that is 1920 VA, by its 16 A"),
        (230, 3490, "met", "15.22 A, that is 3500 VA, by its 3500 W"),
        (230, 3600, "broken", "15.22 A, that is 3500 VA, by its 3500 W"),
        (240, 3600, "broken", "14.58 A, that is 3500 VA, by its 3500 W"),
    ],
)
def test_a_relay_carries_its_amperes_or_its_watts_whichever_is_reached_first(
    voltage_v: float, power_w: float, outcome: str, rating: str
) -> None:
    fit = judged(RELAY, replace(HEATER, power_w=power_w), voltage_v=voltage_v)["fit-rating"]

    assert (fit.outcome, fit.channel) == (outcome, "output.1")
    assert fit.sentence.startswith(f"towel rail ({power_w} W resistive at {voltage_v} V): ")
    assert rating in fit.sentence


def test_a_sentence_has_the_pieces_the_amperes_and_what_may_be_used() -> None:
    lamps = Load(channel="output.1", kind="incandescent", power_w=60, count=6)

    fit = judged(RELAY, lamps)["fit-rating"]

    share = min(IEC.value("contact_inrush") / IEC.kinds["incandescent"].inrush.value, 1)
    assert "6 × 60 W incandescent at 230 V: 1.565 A against" in fit.sentence
    assert f"{3500 / 230 * share:.2f} A usable" in fit.sentence
    assert fit.outcome == "met"


def test_the_factor_for_inrush_is_one_that_a_site_may_see_otherwise() -> None:
    many = replace(DOWNLIGHTS, count=30)
    own = tables_of(
        parse_toml(b'[kind.led-lamp]\ninrush = { value = 10, source = "measured on these lamps" }\n', "tables.toml")
    )

    outcomes = [judged(RELAY, many, tables=tables)["fit-rating"].outcome for tables in (IEC, own)]

    assert outcomes == ["broken", "met"]


def test_what_the_data_sheet_says_of_a_kind_of_load_counts_before_general_factors() -> None:
    many = replace(DOWNLIGHTS, count=30)
    sheet = rated(RELAY, load_w={"led-lamp": 300})

    fit = judged(sheet, many)["fit-rating"]
    more = judged(sheet, replace(many, count=34))["fit-rating"]

    assert (fit.outcome, more.outcome) == ("met", "broken")
    assert "270 W are within the 300 W that the data sheet gives for an led-lamp load" in fit.sentence


def test_watts_that_the_data_sheet_states_are_no_leave_for_more_amperes_than_it_states() -> None:
    sheet = rated(RELAY, load_w={"resistive": 3500})
    lasting = replace(HEATER, power_w=3400, is_continuous=True)

    mains = judged(sheet, replace(HEATER, power_w=3400))["fit-rating"]
    america = judged(sheet, replace(HEATER, power_w=2400), tables=NEC, **AMERICA)["fit-rating"]
    for_hours = judged(sheet, lasting)["fit-rating"]

    assert (mains.outcome, america.outcome, for_hours.outcome) == ("met", "broken", "broken")
    assert america.sentence.endswith("20 A are more than its rating of 16 A")  # 2400 W / 120 V
    assert for_hours.sentence.endswith(
        "18.48 A counted as continuous are more than its rating of 16 A"
    )  # 14.78 A x 1.25
    assert america.answer is not None
    assert america.answer.values["stated_w"] == 3500


def test_a_motor_current_of_nought_is_no_leave_for_motors() -> None:
    motor = Load(channel="output.1", kind="motor", power_w=100)

    assert judged(rated(RELAY, motor_current_a=0), motor)["fit-rating"].outcome == "broken"


def test_loads_of_several_kinds_at_one_output_add_up_by_the_part_that_each_uses() -> None:
    half = replace(HEATER, power_w=0.6 * 3500)

    one = judged(RELAY, half)["fit-rating"]
    both = judged(RELAY, half, replace(half, name="second rail"))["fit-rating"]

    assert (one.outcome, both.outcome) == ("met", "broken")
    assert "Together the loads use 120 %" in both.sentence


def test_a_motor_is_held_against_the_motor_current_of_the_data_sheet() -> None:
    motor = Load(channel="shutter", kind="motor", power_w=180, power_factor=0.8, hazard="moves")

    fit = judged(LIFT, motor)["fit-rating"]
    larger = judged(LIFT, replace(motor, power_w=800))["fit-rating"]

    # 180 W / (230 V x 0.8) = 0.978 A; 800 W / (230 V x 0.8) = 4.348 A
    assert (fit.outcome, larger.outcome) == ("met", "broken")
    assert "0.9783 A are within the 4 A" in fit.sentence
    assert "4.348 A are more than the 4 A" in larger.sentence


def test_a_socket_may_draw_all_that_the_breaker_lets_through() -> None:
    socket = Load(channel="output.1", kind="socket")

    small = judged(RELAY, socket, breaker_a=13)["fit-rating"]
    large = judged(RELAY, socket, breaker_a=20, conductors=Conductors(mm2=2.5))["fit-rating"]

    assert (small.outcome, large.outcome) == ("met", "broken")
    assert "20 A against 15.22 A usable" in large.sentence


@pytest.mark.parametrize(
    ("first_w", "second_w", "outcome", "words"),
    [
        (1600, 1600, "met", "6.957 A + 6.957 A = 13.91 A are within the 16 A"),
        (2200, 2000, "broken", "9.565 A + 8.696 A = 18.26 A are more than the 16 A"),
    ],
)
def test_a_dual_relay_carries_ten_amperes_a_circuit_and_less_in_all(
    first_w: float, second_w: float, outcome: str, words: str
) -> None:
    loads = (replace(HEATER, power_w=first_w), replace(HEATER, channel="output.2", power_w=second_w))

    outcomes = judged(TWIN, *loads, breaker_a=25, conductors=Conductors(mm2=4))

    assert outcomes["fit-rating"].outcome == "met"
    assert outcomes["fit-total"].outcome == outcome
    assert words in outcomes["fit-total"].sentence


@pytest.mark.parametrize("field", ["rated_current_a", "rated_power_w", "total_current_a"])
def test_a_rating_of_nought_ends_no_run(field: str) -> None:
    loads = (HEATER, replace(HEATER, channel="output.2"))

    fit = judged(rated(TWIN, **{field: 0}), *loads)["fit-total"]

    assert fit.outcome == "unverified"
    assert "0 cannot be" in fit.sentence


def test_continuous_loads_count_more_against_the_total_too() -> None:
    loads = [replace(HEATER, channel=f"output.{number}", power_w=1610, is_continuous=True) for number in (1, 2)]

    outcomes = judged(TWIN, *loads, breaker_a=25, conductors=Conductors(mm2=4))

    # 1610 W / 230 V = 7 A, 8.75 A as it counts: within 10 A each, 17.5 A in all
    assert (outcomes["fit-rating"].outcome, outcomes["fit-total"].outcome) == ("met", "broken")
    assert outcomes["fit-total"].sentence == (
        "8.75 A + 8.75 A = 17.5 A with continuous loads at 125 % are more than the 16 A that the module carries in all"
    )


def test_the_total_is_asked_for_where_the_data_sheet_states_kinds_of_load_only() -> None:
    sheet = rated(TWIN, rated_current_a=None, rated_power_w=None, load_w={"resistive": 2300})
    loads = (replace(HEATER, power_w=2200), replace(HEATER, channel="output.2", power_w=2000))

    outcomes = judged(sheet, *loads, breaker_a=25, conductors=Conductors(mm2=4))

    assert (outcomes["fit-rating"].outcome, outcomes["fit-total"].outcome) == ("met", "broken")


def test_what_is_fed_through_a_free_contact_at_an_unsaid_voltage_is_unverified() -> None:
    pump = Load(channel="output.1", kind="motor", name="pump", power_w=50, is_potential_free=True)

    fit = judged(DRY, pump)["fit-rating"]

    assert (fit.outcome, fit.sentence) == (
        "unverified",
        "the plan does not say at which voltage pump is fed through the contact",
    )


@pytest.mark.parametrize(
    ("lamps", "outcome", "words"),
    [
        ([Load(channel="dimmer.1", kind="incandescent", power_w=60, count=3)], "met", "180 W of the 200 W"),
        ([Load(channel="dimmer.1", kind="incandescent", power_w=60, count=4)], "broken", "240 W"),
        ([Load(channel="dimmer.1", kind="incandescent", power_w=2)], "broken", "2 W are less than the 3 W"),
        ([Load(channel="dimmer.1", kind="motor", power_w=60)], "broken", "cannot be dimmed"),
        ([Load(channel="dimmer.1", kind="incandescent")], "unverified", "does not say the power"),
        (
            [
                Load(channel="dimmer.1", kind="incandescent", power_w=120),
                Load(channel="dimmer.1", kind="halogen", power_w=120),
            ],
            "broken",
            "Together the loads use",
        ),
        (
            [
                Load(channel="dimmer.1", kind="incandescent", power_w=1),
                Load(channel="dimmer.1", kind="halogen", power_w=1),
            ],
            "broken",
            "2 W together are less than the 3 W",
        ),
        (  # 2 x 45 W / 0.3 = 300 VA
            [
                Load(channel="dimmer.1", kind="led-lamp", power_w=45, power_factor=0.3),
                Load(channel="dimmer.1", kind="led-lamp", name="others", power_w=45, power_factor=0.3),
            ],
            "broken",
            "Together the loads use 150 %",
        ),
    ],
)
def test_a_dimmer_has_neither_too_much_nor_too_little_load(lamps: list[Load], outcome: str, words: str) -> None:
    fit = judged(DIMMER, *lamps)["fit-dimmer-load"]

    assert fit.outcome == outcome
    assert words in fit.sentence


def test_a_dimmer_and_an_led_channel_hold_a_fifth_back_for_what_is_on_for_hours() -> None:
    lamps = Load(channel="dimmer.1", kind="halogen", power_w=30, count=6)
    strip = replace(STRIP, strip_m=6)
    bare = replace(strip, strip_w_per_m=None, strip_m=None, power_w=14.4 * 6)

    short = [
        judged(DIMMER, lamps)["fit-dimmer-load"],
        *(judged(RIBBON, one, **STRIP_SUPPLY)["fit-led-current"] for one in (strip, bare)),
    ]
    long = [
        judged(DIMMER, replace(lamps, is_continuous=True))["fit-dimmer-load"],
        *(judged(RIBBON, replace(one, is_continuous=True), **STRIP_SUPPLY)["fit-led-current"] for one in (strip, bare)),
    ]

    # 180 W x 1.25 = 225 W of 200 W; 86.4 W / 24 V x 1.25 = 4.5 A of 4 A
    assert [one.outcome for one in short] == ["met"] * 3
    assert [one.outcome for one in long] == ["broken"] * 3
    assert "225 W counted as continuous (225 VA) are more than the 200 W" in long[0].sentence
    assert "At most 5 such lamps fit" in long[0].sentence
    assert "4.5 A counted as continuous are more than the 4 A of the channel" in long[1].sentence


def test_a_dimmer_has_no_more_lamps_than_its_data_sheet_allows() -> None:
    lamps = Load(channel="dimmer.1", kind="led-lamp", power_w=5, count=11)

    fit = judged(rated(DIMMER, maximum_lamps=10), lamps)["fit-dimmer-load"]

    assert fit.outcome == "broken"
    assert "11 lamps are more than the 10 that the data sheet allows" in fit.sentence
    assert fit.answer is not None
    assert fit.answer.values["most"] == 10


def test_a_dimmer_has_no_more_lamps_of_several_sorts_than_its_data_sheet_allows() -> None:
    lamps = [Load(channel="dimmer.1", kind="led-lamp", name=name, power_w=3, count=6) for name in ("spots", "candles")]

    fit = judged(rated(DIMMER, maximum_lamps=10), *lamps)["fit-dimmer-load"]

    assert (fit.outcome, fit.sentence) == ("broken", "12 lamps are more than the 10 that the data sheet allows")


@pytest.mark.parametrize(
    ("edges", "asked", "planned", "outcome"),
    [
        (("trailing",), None, None, "met"),
        (("leading",), None, None, "broken"),
        (("leading",), "leading", None, "met"),
        (("leading", "trailing"), None, None, "met"),
        (("leading", "trailing"), None, "leading", "broken"),
        (("trailing",), "trailing", "leading", "broken"),
        ((), None, None, "unverified"),
    ],
)
def test_the_edge_suits_the_lamps(edges: Any, asked: Any, planned: str | None, outcome: str) -> None:
    lamps = Load(channel="dimmer.1", kind="led-lamp", power_w=8, count=4, dimmed_by=asked)
    settings = {"dimmer.1.edge": planned} if planned else {}

    fit = judged(rated(DIMMER, dimmer_edges=edges), lamps, settings=settings)["fit-dimmer-edge"]

    assert fit.outcome == outcome


@pytest.mark.parametrize(
    ("voltage_v", "current", "drop"),
    [
        # 14.4 W/m x 5 m = 72 W: 6 A at 12 V, 3 A at 24 V; 5 m of 0.75 mm², out and back, drop 1.56 V and 0.78 V
        # (26 ohm/km, IEC 60228 class 5).
        (24, ("met", "72 W of strip draw 3 A at 24 V"), ("met", "drop 0.78 V (3.25 %)")),
        (12, ("broken", "6 A are more than the 4 A of the channel"), ("broken", "drop 1.56 V (13 %)")),
    ],
)
def test_a_strip_draws_twice_the_current_at_half_the_voltage(
    voltage_v: float, current: tuple[str, str], drop: tuple[str, str]
) -> None:
    outcomes = judged(RIBBON, STRIP, **{**STRIP_SUPPLY, "voltage_v": voltage_v})

    for rule, (outcome, words) in (("fit-led-current", current), ("fit-led-drop", drop)):
        assert outcomes[rule].outcome == outcome
        assert words in outcomes[rule].sentence


def test_one_supply_feeds_all_strips_of_a_controller() -> None:
    second = replace(STRIP, channel="led.2")

    one, both = judged(RIBBON, STRIP, **STRIP_SUPPLY), judged(RIBBON, STRIP, second, **STRIP_SUPPLY)
    unlike = judged(RIBBON, STRIP, replace(second, supply_w=60), **STRIP_SUPPLY)
    unsaid = judged(RIBBON, replace(STRIP, supply_w=None), **STRIP_SUPPLY)

    found = [outcomes["fit-led-supply"].outcome for outcomes in (one, both, unlike, unsaid)]
    assert found == ["met", "broken", "unverified", "unverified"]
    assert both["fit-led-supply"].sentence.startswith("14.4 W/m × 5 m and 14.4 W/m × 5 m of strip: 144 W need")


def test_a_strip_of_unsaid_power_leaves_its_supply_unverified() -> None:
    unsaid = replace(STRIP, channel="led.2", name="the other strip", strip_w_per_m=None, strip_m=None)

    fit = judged(RIBBON, STRIP, unsaid, **STRIP_SUPPLY)["fit-led-supply"]

    assert (fit.outcome, fit.sentence) == ("unverified", "the plan does not say the power of the other strip")


def test_class_2_is_asked_for_where_the_code_knows_it() -> None:
    american = {**STRIP_SUPPLY, "conductors": Conductors(awg=14)}

    fits_it = judged(RIBBON, STRIP, tables=NEC, **american)["fit-class-2"]
    exceeds = judged(RIBBON, replace(STRIP, supply_w=150), tables=NEC, **american)["fit-class-2"]

    assert (fits_it.outcome, exceeds.outcome) == ("met", "broken")  # NEC Chapter 9, Table 11: 100 VA
    assert "fit-class-2" not in judged(RIBBON, STRIP, **STRIP_SUPPLY)
