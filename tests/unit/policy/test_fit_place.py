"""Whether a module suits its place: supply, neutral, contact, breaker, run, box, warmth."""

from dataclasses import replace
from typing import Any

import pytest

from pattress.model.circuit import Box, Conductors, Load
from pattress.model.profile import Profile
from unit.policy.fit_examples import (
    AMERICA,
    DRY,
    HEATER,
    NEC,
    RELAY,
    RIBBON,
    STRIP_SUPPLY,
    TWIN,
    judged,
    rated,
)


@pytest.mark.parametrize(
    ("profile", "circuit", "outcome", "words"),
    [
        (RELAY, {}, "met", "230 V AC is within the module's range, 110 to 260 V"),
        (RELAY, {"voltage_v": 277}, "broken", "277 V AC is outside"),
        (RELAY, {"voltage_v": 24, "is_dc": True, "has_neutral": None}, "broken", "takes no DC supply"),
        (DRY, {"voltage_v": 24, "is_dc": True, "has_neutral": None}, "met", "24 V DC is within"),
        (DRY, {"voltage_v": 60, "is_dc": True, "has_neutral": None}, "broken", "60 V DC is outside"),
        (RIBBON, {**STRIP_SUPPLY, "voltage_v": 18}, "broken", "18 V is none of the voltages"),
        (rated(RELAY, supply_ac_v=None), {}, "unverified", "names no supply range"),
    ],
)
def test_the_supply_is_within_the_range_of_the_data_sheet(
    profile: Profile, circuit: dict[str, Any], outcome: str, words: str
) -> None:
    fit = judged(profile, **circuit)["fit-supply"]

    assert fit.outcome == outcome
    assert words in fit.sentence


@pytest.mark.parametrize(
    ("needs", "has", "outcome"),
    [
        (True, True, "met"),
        (True, False, "broken"),
        (True, None, "unverified"),
        (False, False, "met"),
        (None, None, "unverified"),
    ],
)
def test_the_neutral_is_there_where_it_is_needed(needs: bool | None, has: bool | None, outcome: str) -> None:
    fit = judged(rated(RELAY, needs_neutral=needs), has_neutral=has)["fit-neutral"]

    assert fit.outcome == outcome


def test_direct_current_has_no_neutral_to_ask_for() -> None:
    outcomes = judged(DRY, voltage_v=24, is_dc=True, has_neutral=None)

    assert "fit-neutral" not in outcomes


def test_a_gate_wants_a_contact_without_a_voltage_of_its_own() -> None:
    gate = Load(channel="output.1", kind="electronic", name="gate", is_potential_free=True)

    live, dry = judged(RELAY, gate), judged(DRY, gate)
    silent = judged(rated(DRY, has_isolated_contact=None), gate)

    assert [one["fit-contact"].outcome for one in (live, dry, silent)] == ["broken", "met", "unverified"]
    assert "fit-rating" not in dry
    assert "fit-contact" not in judged(RELAY, HEATER)


def test_mains_and_extra_low_voltage_share_no_box() -> None:
    bell = Load(channel="output.1", kind="electronic", name="bell", is_potential_free=True, is_extra_low_voltage=True)

    mixed, marked = judged(DRY, bell), judged(RELAY, HEATER, separation="none")
    apart = judged(DRY, bell, voltage_v=24, is_dc=True, has_neutral=None)

    assert [one["fit-separation"].outcome for one in (mixed, marked, apart)] == ["broken", "broken", "met"]
    assert "bell" in mixed["fit-separation"].sentence


def test_extra_low_voltage_at_a_mains_module_is_fit_where_the_plan_keeps_the_two_apart() -> None:
    bell = Load(channel="output.1", kind="electronic", name="bell", is_potential_free=True, is_extra_low_voltage=True)

    kept, shared = (judged(DRY, bell, separation=how) for how in ("insulation", "none"))
    beside_mains = judged(DRY, bell, voltage_v=24, is_dc=True, has_neutral=None, separation="none")

    assert [one["fit-separation"].outcome for one in (kept, shared, beside_mains)] == ["met", "broken", "broken"]
    assert "every core of both must be insulated" in kept["fit-separation"].sentence
    assert kept["fit-contact"].outcome == "met"
    assert "and mains are in one box" in beside_mains["fit-separation"].sentence


@pytest.mark.parametrize(
    ("power_w", "is_continuous", "outcome"),
    [
        # NEC 210.20(A): 20 A carry 20 A, and 16 A of a continuous load (80 %, or 125 % the other way round).
        (2390, False, "met"),
        (2410, False, "broken"),
        (1910, True, "met"),
        (1930, True, "broken"),
    ],
)
def test_a_continuous_load_fills_a_breaker_to_four_fifths(power_w: float, is_continuous: bool, outcome: str) -> None:
    heater = replace(HEATER, power_w=power_w, is_continuous=is_continuous)

    fit = judged(RELAY, heater, tables=NEC, **AMERICA)["fit-breaker"]

    assert fit.outcome == outcome


def test_a_breaker_too_large_for_its_conductor_is_broken() -> None:
    fit = judged(RELAY, HEATER, tables=NEC, **{**AMERICA, "conductors": Conductors(awg=14)})["fit-breaker"]

    assert fit.outcome == "broken"  # NEC 240.4(D): 14 AWG, 15 A
    assert "A breaker of 20 A does not protect" in fit.sentence


def test_a_breaker_whose_conductor_the_plan_leaves_out_is_never_met() -> None:
    fit = judged(RELAY, HEATER, conductors=None)["fit-breaker"]

    assert fit.outcome == "unverified"
    assert "The conductor was not said" in fit.sentence


def test_a_run_that_is_too_long_loses_too_much() -> None:
    lamps = Load(channel="output.1", kind="incandescent", power_w=60, count=20)

    near, far = (judged(RELAY, lamps, length_m=length)["fit-voltage-drop"] for length in (20, 60))

    # BS 7671 Appendix 4: 29 mV/A/m of 1.5 mm²; 5.217 A x 60 m x 29 mV = 9.08 V; 3 % of 230 V is 6.9 V
    assert (near.outcome, far.outcome) == ("met", "broken")
    assert "5.217 A over 60 m of 1.5 mm² drop 9.0" in far.sentence


@pytest.mark.parametrize(
    ("volume_cm3", "module_cm3", "outcome"),
    # NEC 314.16(B): two 12/2 cables with grounds, a clamp and one device take 18.0 in3, 294.97 cm3.
    [(294.97 + 30, None, "met"), (294.97 + 29, None, "broken"), (294.97 + 30, 31, "broken")],
)
def test_the_module_takes_room_in_the_box_beside_what_the_code_counts(
    volume_cm3: float, module_cm3: float | None, outcome: str
) -> None:
    conductors = (Conductors(awg=12, count=4, grounds=2),)
    box = Box(volume_cm3=volume_cm3, conductors=conductors, clamps=1, yokes=1, module_cm3=module_cm3)

    fit = judged(RELAY, HEATER, tables=NEC, box=box, **AMERICA)["fit-box-room"]

    assert fit.outcome == outcome


def test_a_family_without_a_rule_for_boxes_asks_only_of_a_box_that_is_planned() -> None:
    box = Box(volume_cm3=200, conductors=(Conductors(mm2=1.5, count=4),))

    without, with_box = judged(RELAY, HEATER), judged(RELAY, HEATER, box=box)

    assert "fit-box-room" not in without
    assert with_box["fit-box-room"].outcome == "unverified"
    assert judged(RELAY, HEATER, tables=NEC, **AMERICA)["fit-box-room"].outcome == "unverified"


@pytest.mark.parametrize(("ambient_c", "outcome"), [(40, "met"), (41, "broken")])
def test_the_room_gets_no_warmer_than_the_module_stands(ambient_c: float, outcome: str) -> None:
    fit = judged(RELAY, ambient_c=ambient_c)["fit-ambient"]

    assert (fit.outcome, f"{ambient_c} °C warm" in fit.sentence) == (outcome, True)


def test_of_a_room_whose_warmth_nobody_planned_nothing_is_judged() -> None:
    fit = judged(RELAY, ambient_c=None)["fit-ambient"]

    assert (fit.outcome, fit.sentence) == ("unverified", "the plan does not say ambient_c")


@pytest.mark.parametrize(
    ("loads", "outcome"),
    [
        ([Load(channel="output.1", kind="socket", name="left"), Load(channel="output.1", kind="socket")], "met"),
        ([Load(channel="output.1", kind="socket"), Load(channel="output.1", kind="resistive", power_w=230)], "met"),
        ([Load(channel="output.1", kind="socket"), Load(channel="output.1", kind="led-lamp", power_w=230)], "broken"),
    ],
    ids=["two sockets", "a socket and a heater", "a socket and lamps, of which a contact carries a tenth"],
)
def test_sockets_at_one_output_never_draw_more_than_the_breaker_lets_through(loads: list[Load], outcome: str) -> None:
    fit = judged(TWIN, *loads, breaker_a=10)["fit-rating"]

    assert fit.outcome == outcome, fit.sentence


def test_sockets_of_unsaid_power_draw_together_what_one_breaker_lets_through() -> None:
    sockets = [Load(channel=f"output.{number}", kind="socket") for number in (1, 2)]
    lamp = Load(channel="output.1", kind="incandescent", power_w=230, is_continuous=True)

    two = judged(TWIN, *sockets, breaker_a=10)
    beside = judged(TWIN, lamp, sockets[1], tables=NEC, **{**AMERICA, "breaker_a": 15})
    too_much = judged(TWIN, replace(lamp, power_w=2530), sockets[1], breaker_a=10)

    assert [two[rule].outcome for rule in ("fit-breaker", "fit-total", "fit-voltage-drop")] == ["met"] * 3
    assert two["fit-total"].sentence.startswith("5 A + 5 A = 10 A are within the 16 A")
    assert "10 A over 18 m" in two["fit-voltage-drop"].sentence
    assert beside["fit-breaker"].outcome == "met"
    assert too_much["fit-breaker"].outcome == "broken"  # 2530 W / 230 V = 11 A without any socket
