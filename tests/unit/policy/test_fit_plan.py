"""Rules of the trade about the plan: power cuts, switches that only report, a light by the door."""

from dataclasses import replace
from typing import Any

import pytest

from pattress.model.circuit import Circuit, Drive, Load
from pattress.model.finding import Subject
from pattress.model.plan import Plan, Point
from pattress.model.reading import Unreadable
from pattress.policy.fit_plan import hazard_findings, hazard_fits, room_fits, switch_fits
from unit.policy.examples import NOON, snapshot
from unit.policy.fit_examples import HEATER, LIFT, RELAY

LAMP = Load(channel="output.1", kind="led-lamp", name="ceiling light", power_w=9, is_lighting_outlet=True)
RAIL = replace(HEATER, hazard="heats")


def point(name: str, *loads: Load, room: str = "Hall", drives: tuple[Drive, ...] = (), **settings: Any) -> Point:
    named = {key.replace("__", "."): value for key, value in settings.items()}
    circuit = Circuit(voltage_v=230, loads=loads) if loads else None
    return Point(name=name, room=room, kind="one", settings=named, circuit=circuit, drives=drives)


def actions(action: str | None) -> dict[str, str]:
    return {} if action is None else {"input__1__action": action}


@pytest.mark.parametrize(
    ("planned", "outcome"), [("off", "met"), ("on", "broken"), ("as-before", "broken"), (None, "unverified")]
)
def test_what_heats_is_planned_to_stay_off_after_a_power_cut(planned: str | None, outcome: str) -> None:
    here = point("rail", RAIL, **({"output__1__at_power_up": planned} if planned else {}))

    (fit,) = hazard_fits(here, RELAY)

    assert (fit.outcome, fit.channel) == (outcome, "output.1")
    assert fit.sentence.startswith("towel rail heats, and ")


def test_a_load_that_is_no_hazard_may_come_on() -> None:
    assert list(hazard_fits(point("rail", HEATER, output__1__at_power_up="on"), RELAY)) == []


def test_a_motor_that_moves_hangs_on_both_outputs_of_a_shutter() -> None:
    motor = Load(channel="shutter", kind="motor", name="shutter motor", power_w=150, hazard="moves")
    here = point("shutter", motor, output__1__at_power_up="off")

    fits = list(hazard_fits(here, LIFT))

    assert [(fit.channel, fit.outcome) for fit in fits] == [("output.1", "met"), ("output.2", "unverified")]


@pytest.mark.parametrize(
    ("values", "outcome"),
    [({"output.1.at_power_up": "off"}, "met"), ({"output.1.at_power_up": "on"}, "broken"), ({}, "unverified")],
)
def test_the_module_itself_says_that_the_heater_stays_off(values: dict[str, str], outcome: str) -> None:
    (finding,) = hazard_findings(point("rail", RAIL), RELAY, Subject(point="rail"), snapshot(values))

    assert (finding.outcome, finding.setting) == (outcome, "output.1.at_power_up")


def test_a_module_that_does_not_answer_says_nothing_of_its_heater() -> None:
    silent = Unreadable(device="mac:00", kind="one", taken_at=NOON, reason="no answer within 5 s")

    findings = [
        one
        for reading in (silent, None)
        for one in hazard_findings(point("rail", RAIL), RELAY, Subject(point="rail"), reading)
    ]

    assert [(one.outcome, one.reason) for one in findings] == [
        ("unverified", "no answer within 5 s"),
        ("unverified", "it was not asked"),
    ]


def test_a_lamp_stays_wired_through_a_relay_where_its_switch_only_reports() -> None:
    drive = Drive(input=1, channel="output.1", point="yard")
    switch = point("hall", drives=(drive,), **actions("reports"))

    wired = list(switch_fits(switch, Plan(points=(switch, point("yard", LAMP)))))
    elsewhere = replace(LAMP, channel="output.2")
    unwired = list(switch_fits(switch, Plan(points=(switch, point("yard", elsewhere)))))
    unsaid = list(switch_fits(switch, Plan(points=(switch, point("yard")))))

    assert [one.outcome for one in (*wired, *unwired, *unsaid)] == ["met", "broken", "unverified"]
    assert wired[0].sentence == "input.1 only reports and is to drive output.1 of yard, which feeds ceiling light"
    assert unwired[0].sentence.endswith("and nothing is wired through it")


def test_a_switch_whose_action_is_not_said_is_not_said_to_report() -> None:
    switch = point("hall", LAMP, drives=(Drive(input=1, channel="output.1"),))

    (fit,) = switch_fits(switch, Plan(points=(switch,)))

    assert (fit.outcome, fit.channel) == ("met", "input.1")
    assert fit.sentence == "input.1 is to drive output.1, which feeds ceiling light"


def test_a_switch_that_only_reports_and_drives_nothing_is_unverified() -> None:
    here = point("hall", LAMP, **actions("reports"))

    (fit,) = switch_fits(here, Plan(points=(here,)))

    assert (fit.outcome, fit.channel) == ("unverified", "input.1")


@pytest.mark.parametrize("action", ["copies", "alternates", "impulse"])
def test_a_switch_that_acts_by_itself_needs_no_relay_elsewhere(action: str) -> None:
    here = point("hall", LAMP, **actions(action))

    assert list(switch_fits(here, Plan(points=(here,)))) == []


@pytest.mark.parametrize(
    ("action", "drives", "outcome", "words"),
    [
        ("alternates", (), "met", "Hall: ceiling light of hall is switched by input.1 (alternates)"),
        ("reports", (), "broken", "Hall: no input of the plan switches ceiling light of hall"),
        ("reports", (Drive(input=1, channel="output.1"),), "met", "is switched by input.1 through the network"),
        (None, (), "unverified", "the plan of hall does not say input.1.action"),
    ],
)
def test_a_wall_switch_of_the_room_switches_a_light_in_it(
    action: str | None, drives: tuple[Drive, ...], outcome: str, words: str
) -> None:
    here = point("hall", LAMP, drives=drives, **actions(action))

    (fit,) = room_fits(here, Plan(points=(here,)))

    assert fit.outcome == outcome
    assert words in fit.sentence


def test_one_switched_light_is_enough_for_a_room_and_it_is_told_once() -> None:
    first = point("hall-spots", replace(LAMP, name="spots"), **actions("reports"))
    second = point("hall-ceiling", LAMP, **actions("impulse"))
    plan = Plan(points=(first, second))

    told = [list(room_fits(one, plan)) for one in plan.points]

    assert [len(fits) for fits in told] == [1, 0]
    assert told[0][0].outcome == "met"


def test_a_switch_of_another_point_may_drive_the_light() -> None:
    switch = point("door", drives=(Drive(input=1, channel="output.1", point="hall"),), **actions("reports"))
    light = point("hall", LAMP, **actions("reports"))

    (fit,) = room_fits(light, Plan(points=(switch, light)))

    assert fit.sentence == "Hall: ceiling light of hall is switched by input.1 of door through the network"


def test_a_room_without_a_marked_light_is_unverified_and_one_without_lamps_is_not_asked() -> None:
    lamps = point("hall", replace(LAMP, is_lighting_outlet=False), **actions("impulse"))
    heats = point("bath", RAIL, room="Bath")
    plan = Plan(points=(lamps, heats))

    assert [fit.outcome for fit in room_fits(lamps, plan)] == ["unverified"]
    assert list(room_fits(heats, plan)) == []


def test_a_relay_s_light_is_switched_by_the_input_of_the_same_number() -> None:
    second = replace(LAMP, channel="output.2")
    here = point("hall", second, **actions("impulse"), input__2__action="reports")

    (fit,) = room_fits(here, Plan(points=(here,)))

    assert fit.outcome == "broken"
