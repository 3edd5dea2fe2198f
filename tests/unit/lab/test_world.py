"""The worlds of a house without any servers, on a clock that the test moves."""

from dataclasses import replace

import pytest

from pattress.lab.clock import HouseClock
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint, state_of
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.physics import Nature
from pattress.lab.worlds import AUTOMATION_S, Automation, Worlds

MODULES = larkspur_mill(Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883)))
STATES = {module.title: state_of(module) for module in MODULES}


class Mill:
    """The worlds, and the time there."""

    def __init__(self, unpowered: tuple[str, ...] = ()) -> None:
        self.real_s = 1_800_000_000.0
        self.clock = HouseClock(lambda: self.real_s)
        self.worlds = Worlds(STATES, unpowered, STATES.__getitem__, self.clock)

    def after(self, seconds: float) -> None:
        self.real_s += seconds

    def value(self, title: str, name: str) -> object:
        return self.worlds[title].values()[name]


def test_a_world_at_rest_gives_the_truths_of_the_house_and_no_others() -> None:
    mill = Mill()

    mill.after(86_400)

    assert {title: mill.worlds.state(title) for title in STATES} == STATES


@pytest.mark.parametrize("title", STATES)
def test_a_world_that_lives_says_everything_that_it_said_at_rest_and_as_settled(title: str) -> None:
    mill = Mill()

    mill.worlds[title].fit_plate(False)
    mill.after(600)
    values, truth = mill.worlds[title].values(), STATES[title].truth

    assert values.keys() == truth.keys()
    changed = {name for name in truth if values[name] != truth[name]}
    assert all(name.startswith(("meter.", "health.", "net.rssi", "led.supply")) for name in changed)
    assert {name: type(values[name]) in (int, float) for name in changed} == dict.fromkeys(changed, True)
    assert values["health.temperature_c"] == pytest.approx(truth["health.temperature_c"], abs=1)
    assert values["health.uptime_s"] == truth["health.uptime_s"] + 600


def test_a_press_closes_the_contact_for_as_long_as_it_lasts() -> None:
    mill = Mill()

    mill.worlds["landing-lights"].press(2, seconds=2)
    mill.after(1.9)
    pressed = mill.value("landing-lights", "input.2.closed"), mill.value("landing-lights", "output.2.on")
    mill.after(0.2)

    assert pressed == (True, True)
    assert mill.value("landing-lights", "input.2.closed") is False
    assert mill.value("landing-lights", "output.2.on") is True


def test_a_throw_stays_until_the_next_one() -> None:
    mill = Mill()

    mill.worlds["yard-lights"].throw(1)
    mill.after(100)
    thrown = mill.value("yard-lights", "input.1.closed")
    mill.worlds["yard-lights"].throw(1)

    assert (thrown, mill.value("yard-lights", "input.1.closed")) == (True, False)


def test_an_output_moved_by_hand_shows_at_its_meter_with_noise_and_none_without_a_load() -> None:
    mill = Mill()
    world = mill.worlds["hall-lights"]
    world.connect_load(2, 120, power_factor=0.6)

    world.move_output(2, True)
    powers = []
    for _ in range(50):
        mill.after(1)
        powers.append(float(mill.value("hall-lights", "meter.2.power_w")))
    current_a, voltage_v = (
        mill.value("hall-lights", "meter.2.current_a"),
        mill.value("hall-lights", "meter.2.voltage_v"),
    )
    world.disconnect_load(2)

    assert all(118 < power < 122 for power in powers)
    assert len(set(powers)) > 10
    assert current_a == pytest.approx(powers[-1] / (float(voltage_v) * 0.6), abs=0.001)
    assert mill.value("hall-lights", "meter.2.power_factor") == 1.0
    assert mill.value("hall-lights", "output.2.on") is True
    assert mill.value("hall-lights", "meter.2.power_w") < 0.5
    assert mill.value("hall-lights", "meter.2.current_a") == 0


def test_exchanged_loads_show_at_one_another_s_meters() -> None:
    mill = Mill()
    world = mill.worlds["hall-lights"]
    world.connect_load(2, 20)
    world.move_output(2, True)

    world.exchange_loads(1, 2)

    assert mill.value("hall-lights", "meter.1.power_w") == pytest.approx(20, rel=0.02)
    assert mill.value("hall-lights", "meter.2.power_w") == pytest.approx(57.6, rel=0.02)


def test_the_plate_takes_some_of_the_signal() -> None:
    mill = Mill()
    world = mill.worlds["gate-release"]

    def mean_dbm() -> float:
        heard = []
        for _ in range(60):
            mill.after(1)
            heard.append(float(mill.value("gate-release", "net.rssi_dbm")))
        return sum(heard) / len(heard)

    world.nature = replace(world.nature, plate_loss_db=14)
    without_dbm = mean_dbm()
    world.fit_plate(True)

    assert without_dbm == pytest.approx(-68, abs=0.6)
    assert mean_dbm() == pytest.approx(-82, abs=0.6)


def test_a_sensor_of_whole_kelvins_says_whole_kelvins() -> None:
    mill = Mill()
    world = mill.worlds["kitchen-worktop"]

    world.nature = Nature(temperature_step_k=1.0, kelvin_per_watt=0.02)
    world.connect_load(1, 2_000)
    mill.after(3_600)

    assert mill.value("kitchen-worktop", "health.temperature_c") == pytest.approx(
        38.5 + 0.02 * (2_000 - 640.5), abs=1.5
    )
    assert float(mill.value("kitchen-worktop", "health.temperature_c")).is_integer()


def test_an_input_that_reports_drives_another_module_through_the_automation() -> None:
    mill = Mill()
    mill.worlds.automations["kitchen-worktop", 1] = Automation(title="hall-lights", channel="output.2")

    mill.worlds["kitchen-worktop"].press(1)
    at_once = mill.value("hall-lights", "output.2.on")
    mill.after(AUTOMATION_S)
    driven = mill.value("hall-lights", "output.2.on")
    mill.after(5)

    assert (at_once, driven, mill.value("hall-lights", "output.2.on")) == (False, True, True)


def test_a_maintained_switch_drives_at_each_throw() -> None:
    mill = Mill()
    mill.worlds.automations["yard-lights", 2] = Automation(title="yard-lights", channel="output.2")
    seen = []

    for _ in range(3):
        mill.worlds["yard-lights"].throw(2)
        mill.after(1)
        seen.append(mill.value("yard-lights", "output.2.on"))

    assert seen == [True, False, True]


def test_without_an_automation_a_switch_that_reports_drives_nothing() -> None:
    mill = Mill()

    mill.worlds["yard-lights"].throw(2)
    mill.after(5)

    assert mill.value("yard-lights", "input.2.closed") is True
    assert mill.value("yard-lights", "output.2.on") is False


def test_the_two_push_buttons_of_a_shutter_open_it_close_it_and_stop_it() -> None:
    mill = Mill()
    for number in (1, 2):
        mill.worlds.automations["mill-room-blind", number] = Automation(title="mill-room-blind", channel="shutter")
    world = mill.worlds["mill-room-blind"]

    world.press(1, seconds=0.5)
    mill.after(AUTOMATION_S + 1.8)
    opening = mill.value("mill-room-blind", "output.1.on"), mill.value("mill-room-blind", "shutter.position_pct")
    world.press(2, seconds=0.5)
    mill.after(1)
    stopped = mill.value("mill-room-blind", "output.1.on"), mill.value("mill-room-blind", "output.2.on")
    world.press(2, seconds=0.5)
    mill.after(1)

    assert opening == (True, 45)
    assert stopped == (False, False)
    assert mill.value("mill-room-blind", "output.2.on") is True


def test_a_push_button_of_a_shutter_at_its_end_runs_it_the_other_way() -> None:
    mill = Mill()
    mill.worlds.automations["wheel-room-blind", 1] = Automation(title="wheel-room-blind", channel="shutter")

    mill.worlds["wheel-room-blind"].press(1)  # it opens, and is open
    mill.after(2)

    assert mill.value("wheel-room-blind", "output.2.on") is True


def test_a_switch_is_set_by_its_face_and_what_runs_is_seen() -> None:
    mill = Mill()
    world = mill.worlds["cellar-lights"]  # its first switch copies, and stands at on

    world.set_switch(1, True)
    lit = world.runs(1)
    world.set_switch(1, False)

    assert (lit, world.runs(1), world.runs(2)) == (True, False, False)


def test_a_power_cut_takes_the_module_off_the_network_and_it_comes_back_by_itself() -> None:
    mill = Mill()
    world = mill.worlds["hall-lights"]

    def seen() -> tuple[bool, bool, bool]:
        state = mill.worlds.state("hall-lights")
        return state.is_present, state.is_powered, state.is_silent

    before = dict(world.values())
    world.cut_power(10)
    gone = seen()
    mill.after(9)
    willed, kept = seen(), world.values()
    mill.after(8)

    assert (gone, willed, seen()) == ((True, False, False), (True, False, True), (True, True, False))
    assert kept["health.temperature_c"] == pytest.approx(before["health.temperature_c"], abs=0.5)
    assert mill.value("hall-lights", "health.uptime_s") == 7
    assert mill.value("hall-lights", "health.restarts") == before["health.restarts"] + 1
    assert mill.value("hall-lights", "output.1.on") is False


def test_a_module_that_does_not_come_back_stays_away() -> None:
    mill = Mill()
    mill.worlds["hall-lights"].comes_back = False

    mill.worlds["hall-lights"].cut_power(10)
    mill.after(3_600)

    assert mill.worlds.state("hall-lights").is_powered is False


def test_a_module_without_power_is_on_no_network_until_it_has_booted() -> None:
    mill = Mill(unpowered=("gate-release",))

    before = mill.worlds.state("gate-release").is_present
    mill.worlds["gate-release"].power_up()
    mill.after(Nature().boot_s - 0.1)
    booting = mill.worlds.state("gate-release").is_present
    mill.after(0.2)
    state = mill.worlds.state("gate-release")

    assert (before, booting) == (False, False)
    assert (state.is_present, state.is_powered, state.truth["health.uptime_s"]) == (True, True, 6)


def test_a_setting_changed_at_the_box_is_told_and_heeded() -> None:
    mill = Mill()

    mill.worlds["yard-lights"].change_setting("input.1.action", "copies")
    mill.worlds["yard-lights"].throw(1)
    mill.worlds["yard-lights"].throw(1)

    assert mill.value("yard-lights", "input.1.action") == "copies"
    assert mill.value("yard-lights", "output.1.on") is False


def test_what_a_module_is_and_where_it_talks_to_can_be_changed() -> None:
    mill = Mill()

    mill.worlds["wheel-room-blind"].appear_as("brackenvolt-twin")
    mill.worlds["wheel-room-blind"].talk_outside("reaches")

    state = mill.worlds.state("wheel-room-blind")
    assert (state.kind, state.way_out) == ("brackenvolt-twin", "reaches")


def test_a_module_keeps_the_time_of_the_house_when_that_runs_ahead() -> None:
    mill = Mill()

    mill.clock.run_at(60)
    mill.after(10)

    assert mill.value("hall-lights", "time.offset_s") == pytest.approx(590)
    assert "time.offset_s" not in mill.worlds["mill-room-blind"].values()


async def test_whoever_follows_is_woken_by_a_hand_and_by_what_happens_by_itself() -> None:
    mill = Mill()
    mill.clock.run_at(1_000)

    mill.worlds["hall-lights"].press(1, seconds=10)
    await mill.worlds.stirred(reports=False)
    mill.after(0.02)  # the press is over by then
    await mill.worlds.stirred(reports=False)
    mill.worlds.advance()

    assert mill.value("hall-lights", "input.1.closed") is False
