"""What is so in one module; no time passes but what a test lets pass."""

import math
from dataclasses import replace

import pytest

from pattress.lab.body import Body
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.physics import Load, Nature
from pattress.model.vocabulary import Value

MODULES = {
    module.point: module
    for module in larkspur_mill(Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1)))
}
START_S = 1_000_000.0


def body_of(point: str, *, nature: Nature | None = None, is_powered: bool = True, **changed: Value) -> Body:
    truth = {**MODULES[point].truth, **{name.replace("__", "."): value for name, value in changed.items()}}
    return Body(truth, nature or Nature(), START_S, is_powered=is_powered)


def press(body: Body, switch: int) -> None:
    body.operate(switch, True)
    body.operate(switch, False)


def test_an_input_that_copies_takes_its_output_along() -> None:
    body = body_of("cellar-lights")  # its first switch is closed from the beginning

    body.operate(1, False)
    opened = body.on[1]
    body.operate(1, True)

    assert (opened, body.on[1]) == (False, True)


def test_an_input_that_alternates_turns_its_output_over_at_each_change() -> None:
    body = body_of("hall-lights")
    seen = [body.on[1]]

    for is_pressed in (True, False, True):
        body.operate(1, is_pressed)
        seen.append(body.on[1])

    assert seen == [True, False, True, False]


def test_an_impulse_turns_over_at_the_press_and_not_at_the_release() -> None:
    body = body_of("landing-lights")
    seen = [body.on[1]]

    for is_pressed in (True, False, True, False):
        body.operate(1, is_pressed)
        seen.append(body.on[1])

    assert seen == [True, False, False, True, True]


def test_an_input_that_reports_moves_nothing_and_is_told_of() -> None:
    body = body_of("yard-lights")
    told: list[tuple[int, bool]] = []
    body.on_input = lambda number, is_on: told.append((number, is_on))
    before = dict(body.on)

    press(body, 2)

    assert body.on == before
    assert told == [(2, True), (2, False)]


def test_exchanged_inputs_move_one_another_s_outputs() -> None:
    body = body_of("landing-lights")

    body.switches.exchange(1, 2)
    press(body, 1)

    assert body.on == {1: True, 2: True}


def test_an_inverted_contact_makes_its_impulse_when_it_is_let_go() -> None:
    body = body_of("landing-lights")
    body.switches.invert(2)

    body.operate(2, True)
    while_pressed = body.on[2]
    body.operate(2, False)

    assert (while_pressed, body.on[2]) == (False, True)


def test_an_input_set_as_inverted_counts_an_open_contact_as_on() -> None:
    body = body_of("yard-lights", input__2__inverted=True, input__2__action="copies")

    body.operate(2, True)
    while_closed = body.on[2]
    body.operate(2, False)

    assert (while_closed, body.on[2]) == (False, True)


def test_the_loads_are_those_that_meters_tell_of_at_the_beginning() -> None:
    assert body_of("hall-lights").loads == {1: Load(watts=57.6)}
    assert body_of("dining-room-lights").loads[1].watts == pytest.approx(83.2 / 0.46)
    assert body_of("boiler-call").loads == {}


def test_an_output_takes_what_is_connected_while_it_is_on_and_nothing_else() -> None:
    body = body_of("hall-lights")
    body.loads[2] = Load(watts=40)

    before = (body.watts(1), body.watts(2))
    body.turn(1, False)
    body.turn(2, True)
    after = (body.watts(1), body.watts(2))
    body.loads.pop(2)

    assert (before, after, body.watts(2)) == ((57.6, 0), (0, 40), 0)


def test_a_dimmer_takes_power_by_its_level_and_comes_back_to_it() -> None:
    body = body_of("dining-room-lights")
    body.loads[1] = Load(watts=180)

    body.set_level(1, 30)
    body.turn(1, False)
    dark = (body.watts(1), body.level_pct[1])
    body.turn(1, True)

    assert dark == (0, 0)
    assert (body.watts(1), body.level_pct[1]) == (pytest.approx(54), 30)


def test_a_dimmer_goes_no_lower_than_it_may_and_is_off_at_nothing() -> None:
    body = body_of("dining-room-lights")

    body.set_level(1, 2)
    lowest = body.level_pct[1]
    body.set_level(1, 0)

    assert lowest == 8.0
    assert (body.level_pct[1], body.on[1]) == (0, False)


def test_the_push_button_of_an_led_strip_puts_all_of_it_out_and_back() -> None:
    body = body_of("bar-shelf-strip")
    before = dict(body.level_pct)

    press(body, 1)
    dark = dict(body.level_pct)
    press(body, 1)

    assert set(dark.values()) == {0}
    assert body.level_pct == before


def test_a_shutter_moves_for_its_run_time_and_stops_at_its_end() -> None:
    body = body_of("mill-room-blind", nature=Nature(run_s=20))  # stands at 35 % open

    body.turn(1, True)
    body.advance(START_S + 5)
    on_its_way = (body.position_pct, dict(body.on))
    body.advance(START_S + 60)

    assert on_its_way == (pytest.approx(60), {1: True, 2: False})
    assert (body.position_pct, body.on) == (100, {1: False, 2: False})


def test_a_shutter_never_runs_both_ways_and_stops_where_it_is_told() -> None:
    body = body_of("mill-room-blind", nature=Nature(run_s=20))

    body.turn(1, True)
    body.advance(START_S + 2)
    body.turn(2, True)
    both = dict(body.on)
    body.advance(START_S + 5)
    body.turn(1, False)  # it is not that which runs
    still = dict(body.on)
    body.turn(2, False)

    assert both == still == {1: False, 2: True}
    assert (body.position_pct, any(body.on.values())) == (pytest.approx(30), False)


def test_a_shutter_that_is_slower_than_its_longest_run_stays_where_it_got_to() -> None:
    body = body_of("wheel-room-blind", nature=Nature(run_s=48))  # fully open, runs for 24 s at most

    body.turn(2, True)
    body.advance(START_S + 100)

    assert (body.position_pct, body.on[2]) == (pytest.approx(50), False)


def test_heat_rises_with_the_load_and_settles() -> None:
    nature = Nature(kelvin_per_watt=0.02, time_constant_s=300)
    body = body_of("boiler-call", nature=nature, output__1__off_after_s=0)
    body.loads[1] = Load(watts=1_000)

    body.turn(1, True)
    body.advance(START_S + 300)
    after_one_c = body.temperature_c
    body.advance(START_S + 6_000)

    assert after_one_c == pytest.approx(38.5 + 20 * (1 - 1 / math.e))
    assert body.temperature_c == pytest.approx(58.5)


def test_nothing_gets_warmer_while_nothing_is_changed() -> None:
    body = body_of("kitchen-worktop")

    body.advance(START_S + 3_600)

    assert body.temperature_c == pytest.approx(38.5)


def test_a_module_too_hot_sheds_its_load_at_its_limit_and_at_once_when_it_is_turned_on_again() -> None:
    nature = Nature(kelvin_per_watt=0.1, time_constant_s=300)
    body = body_of("kitchen-worktop", nature=nature)  # limit 80 degrees; 640 W are on
    body.loads[1] = Load(watts=1_300)

    body.advance(START_S + 3_600)
    shed = body.on[1]
    body.temperature_c = 85
    body.turn(1, True)
    body.advance(body.at_s)

    assert shed is False
    assert body.on[1] is False


def test_a_module_without_protection_goes_on_getting_hotter() -> None:
    nature = Nature(kelvin_per_watt=0.1, time_constant_s=300)
    body = body_of("kitchen-worktop", nature=nature, output__1__over_temperature__enabled=False)
    body.loads[1] = Load(watts=1_300)

    body.advance(START_S + 3_600)

    assert body.on[1]
    assert body.temperature_c > 100


@pytest.mark.parametrize(
    ("load", "stays_on"),
    [
        (Load(watts=3_400), True),  # 14.7 A of 16 A, 3400 W of 3440 W
        (Load(watts=3_500), False),  # more than 3440 W
        (Load(watts=3_000, power_factor=0.7), False),  # 18.5 A
    ],
)
def test_an_overload_is_shed_after_a_moment(load: Load, stays_on: bool) -> None:
    body = body_of("kitchen-worktop")
    body.loads[1] = load

    body.weigh(1)
    at_once = body.on[1]
    body.advance(START_S + 1)

    assert (at_once, body.on[1]) == (True, stays_on)


def test_an_output_with_a_timer_goes_off_by_itself() -> None:
    body = body_of("gate-release")

    body.turn(1, True)
    body.advance(START_S + 119)
    before = body.on[1]
    body.advance(START_S + 121)

    assert (before, body.on[1]) == (True, False)


def test_energy_counts_what_went_through() -> None:
    body = body_of("hall-lights")
    before_wh = body.energy_wh[1]

    body.advance(START_S + 1_800)
    body.turn(1, False)
    body.advance(START_S + 3_600)

    assert body.energy_wh[1] - before_wh == pytest.approx(57.6 / 2)


@pytest.mark.parametrize(
    ("at_power_up", "was_on", "is_on"),
    [("off", True, False), ("on", False, True), ("as-before", True, True), ("as-before", False, False)],
)
def test_after_a_power_cut_an_output_is_as_it_is_set_to_be(at_power_up: str, was_on: bool, is_on: bool) -> None:
    body = body_of("hall-lights", output__1__at_power_up=at_power_up, output__1__on=was_on)

    body.cut_power()
    dark = dict(body.on)
    body.advance(START_S + 10)
    body.power_up()

    assert dark == {1: False, 2: False}
    assert body.on[1] is is_on


@pytest.mark.parametrize("is_closed", [True, False])
def test_as_input_takes_the_output_to_where_the_switch_stands(is_closed: bool) -> None:
    body = body_of("cellar-lights", output__1__at_power_up="as-input", input__1__closed=not is_closed)

    body.cut_power()
    body.operate(1, is_closed)
    body.power_up()

    assert body.on[1] is is_closed


def test_after_a_power_cut_it_boots_counts_from_0_and_one_more_start() -> None:
    body = body_of("hall-lights")
    restarts = body.restarts

    body.cut_power()
    body.later("power", 10, body.power_up)
    body.advance(START_S + 15)
    while_booting = (body.is_powered, body.is_up, body.cut_at_s)
    body.advance(START_S + 20)

    assert while_booting == (True, False, START_S)
    assert (body.is_up, body.cut_at_s, body.up_since_s) == (True, None, START_S + 10)
    assert body.restarts == restarts + 1


def test_while_there_is_no_power_switches_move_nothing_and_it_cools_down() -> None:
    body = body_of("hall-lights")

    body.cut_power()
    press(body, 1)
    body.turn(1, True)
    body.advance(START_S + 6_000)

    assert body.on == {1: False, 2: False}
    assert body.temperature_c < 32


def test_a_module_that_never_had_power_is_cold_dark_and_not_there() -> None:
    body = body_of("hall-lights", is_powered=False)

    before = (body.is_up, body.on[1], body.load_w, round(body.temperature_c, 1))
    body.power_up()
    body.advance(START_S + Nature().boot_s)

    assert before == (False, False, 0, round(38.5 - 57.6 * 0.01 - 8, 1))
    assert body.is_up


def test_a_module_behaves_by_its_nature() -> None:
    body = body_of("hall-lights")

    body.become(replace(body.nature, boot_s=30, kelvin_per_watt=0.5))
    body.advance(START_S + 6_000)
    settled_c = body.temperature_c
    body.cut_power()
    body.power_up()
    body.advance(body.at_s + 29)

    assert settled_c == pytest.approx(38.5)
    assert not body.is_up
