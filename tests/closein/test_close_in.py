"""`pattress close-in` at the boxes of the emulated house, by a person at a real pseudo-terminal.

A right module of each class passes. Each wrong one stops at the step that is about what is wrong, and at no other:
every step before it is met, or was left out by the person to save time (what `leaves_out` names).
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from closein.boxes import BLIND, BOILER, DINING, HALL, KITCHEN, SHELF, WHEEL_ROOM
from closein.person import WAITING, Habit, Person, habit
from closein.visit import Visit, visited
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import stranger
from pattress.lab.world import World
from pattress.model.closein import STEP_KINDS
from pattress.site.load import load_profiles
from pattress.site.places import shipped_profiles_folder

STRANGER = stranger(Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883))).title
RIGHT = {
    "isolated-contact-relay": Visit(box=BOILER),
    "metered-relay": Visit(box=KITCHEN),
    "dual-relay": Visit(box=HALL, unpowered=(HALL.point,)),
    "shutter": Visit(box=BLIND),
    "dimmer": Visit(box=DINING),
    "led-controller": Visit(box=SHELF),
}
STEPS_WITHOUT_DRIVES = set(STEP_KINDS) - {"drive"}


@pytest.mark.parametrize("module_class", RIGHT)
async def test_a_right_module_passes(module_class: str, tmp_path: Path) -> None:
    visit = RIGHT[module_class]

    outcome = await visited(visit, tmp_path)

    assert set(outcome.outcomes.values()) == {"MET"}, outcome.text
    assert outcome.status == 0
    assert outcome.check.is_signed_off
    assert [result.step for result in outcome.check.results] == list(outcome.outcomes)
    kinds = {result.kind for result in outcome.check.results}
    assert kinds == (set(STEP_KINDS) if visit.box.wiring.drives else STEPS_WITHOUT_DRIVES)
    assert sum(prompt.startswith("CAUTION: ") for prompt in outcome.prompts) >= 5


def test_a_right_module_of_every_class_is_visited() -> None:
    assert set(RIGHT) == {profile.module_class for profile in load_profiles([shipped_profiles_folder()])}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """A visit at which something is wrong, the step that must say so, and words of its sentence."""

    visit: Visit
    step: str
    sentence: str


def _without_cooling(world: World) -> None:
    world.move_output(1, False)
    world.nature = replace(world.nature, kelvin_per_watt=0.12)  # 77 K above 32 degrees


def _weak(world: World) -> None:
    world.nature = replace(world.nature, plate_loss_db=20)


async def _power_a_stranger(person: Person, found: re.Match[str]) -> None:
    person.house.world(STRANGER).power_up()


async def _for_good(person: Person, found: re.Match[str]) -> None:
    person.world.comes_back = False
    person.world.cut_power(10)
    person.house.clock.run_at(WAITING)


async def _while_it_calls_home(person: Person, found: re.Match[str]) -> None:
    person.world.talk_outside("reaches")
    person.house.clock.run_at(WAITING)


def _wait_in_vain() -> tuple[str, Habit]:
    return habit(r"^Operate the switch of input \d+ \d+ times", lambda person: person.house.clock.run_at(WAITING), None)


HANDS = ("input", "drive")

WRONG = {
    "inputs-exchanged": Wrong(
        visit=Visit(box=HALL, spoil=lambda world: world.exchange_inputs(1, 2)),
        step="input.1",
        sentence="input.2 moved, and not input 1",
    ),
    "loads-exchanged": Wrong(
        visit=Visit(box=HALL, spoil=lambda world: world.exchange_loads(1, 2), leaves_out=HANDS),
        step="output.1",
        sentence=r"output.1 takes 1[12]\.. W, and the plan says 57.6 W",
    ),
    "maintained-input-inverted": Wrong(
        visit=Visit(box=HALL, spoil=lambda world: world.invert_input(1)),
        step="input.1",
        sentence="input 1 is open with the switch on: it is inverted",
    ),
    "momentary-input-inverted": Wrong(
        visit=Visit(box=KITCHEN, spoil=lambda world: world.invert_input(1)),
        step="input.1",
        sentence="input 1 is closed at rest: it is inverted",
    ),
    "another-switch-than-planned": Wrong(
        visit=Visit(box=HALL, contacts={1: "momentary"}),
        step="input.1",
        sentence="the switch of input 1 is momentary, and the plan says maintained",
    ),
    "switch-not-wired": Wrong(
        visit=Visit(box=KITCHEN, habits=(_wait_in_vain(),)),
        step="input.1",
        sentence="nothing moved within 90 s",
    ),
    "switch-drives-nothing": Wrong(
        visit=Visit(box=KITCHEN, has_automation=False),
        step="drive.1",
        sentence="output.1 at kitchen-worktop did not answer to input 1",
    ),
    "load-not-connected": Wrong(
        visit=Visit(box=KITCHEN, spoil=lambda world: world.disconnect_load(1), leaves_out=HANDS),
        step="output.1",
        sentence=r"and the plan says 640 W.* Is the load connected\?",
    ),
    "more-load-than-planned": Wrong(
        visit=Visit(box=KITCHEN, spoil=lambda world: world.connect_load(1, 1_900), leaves_out=HANDS),
        step="output.1",
        sentence=r"output.1 takes 1[89]..\.. W, and the plan says 640 W",
    ),
    "overloaded": Wrong(
        visit=Visit(box=HALL, spoil=lambda world: world.connect_load(1, 2_900), leaves_out=HANDS),
        step="output.1",
        sentence="more than the 2300 W that the module is rated for",
    ),
    "outside-broker": Wrong(
        visit=Visit(box=KITCHEN, spoil=lambda world: world.change_setting("mqtt.host", "broker.example.net")),
        step="settings",
        sentence='mqtt.host is "broker.example.net"',
    ),
    "protection-off": Wrong(
        visit=Visit(box=KITCHEN, spoil=lambda world: world.change_setting("output.1.over_temperature.enabled", False)),
        step="settings",
        sentence="output.1.over_temperature.enabled is false",
    ),
    "weak-radio-with-the-plate-on": Wrong(
        visit=Visit(box=KITCHEN, spoil=_weak, leaves_out=(*HANDS, "output")),
        step="radio",
        sentence="with the plate on, below the least level",
    ),
    "too-hot": Wrong(
        visit=Visit(box=KITCHEN, spoil=_without_cooling, leaves_out=(*HANDS, "output", "radio")),
        step="heat",
        sentence="sheds its load at 80 C|the module shed its load",
    ),
    "does-not-come-back": Wrong(
        visit=Visit(
            box=KITCHEN,
            habits=((r"^Switch the circuit off at the board", _for_good),),
            leaves_out=(*HANDS, "output", "radio", "heat"),
        ),
        step="power-cut",
        sentence="it did not come back within 180 s",
    ),
    "talks-outside": Wrong(
        visit=Visit(
            box=KITCHEN,
            habits=((r"^Leave it on\. The heat is watched", _while_it_calls_home),),
            leaves_out=(*HANDS, "output", "radio"),
        ),
        step="outside",
        sentence="it reached 203.0.113.88 on TCP port 8883",
    ),
    "another-kind-at-the-point": Wrong(
        visit=Visit(box=WHEEL_ROOM, spoil=lambda world: world.appear_as("brackenvolt-twin")),
        step="recognised",
        sentence="it is brackenvolt-twin, and the plan says brackenvolt-hoist",
    ),
    "another-module-at-the-point": Wrong(
        visit=Visit(
            box=KITCHEN,
            faults=("stranger",),
            unpowered=(KITCHEN.point, STRANGER),
            habits=((r"^Power the module at \S+ now", _power_a_stranger),),
        ),
        step="found",
        sentence="another module appeared, .* and not the one that is planned here",
    ),
}


@pytest.mark.xfail(
    strict=True, reason="the watching keeps what is no news once a minute, and the step does not wait for that"
)
async def test_a_module_that_tried_before_and_goes_on_trying_is_not_called_silent(tmp_path: Path) -> None:
    visit = Visit(
        box=KITCHEN,
        spoil=lambda world: world.talk_outside("tries"),
        leaves_out=(*HANDS, "output", "radio", "heat"),
    )

    outcome = await visited(visit, tmp_path)

    assert outcome.outcomes["outside"] == "BROKEN", outcome.text


@pytest.mark.parametrize("name", WRONG)
async def test_a_wrong_module_stops_at_the_step_that_is_about_it(name: str, tmp_path: Path) -> None:
    wrong = WRONG[name]

    outcome = await visited(wrong.visit, tmp_path)

    assert (outcome.last.step, outcome.last.outcome) == (wrong.step, "BROKEN"), outcome.text
    assert re.search(wrong.sentence, outcome.last.sentence), outcome.text
    before = {one.step: one.outcome for one in outcome.ended[:-1]}
    left_out = {step for step in before if step.partition(".")[0] in wrong.visit.leaves_out}
    assert {before[step] for step in before.keys() - left_out} <= {"MET"}, outcome.text
    assert {before[step] for step in left_out} <= {"SKIPPED"}, outcome.text
    assert outcome.status == 1
    assert not outcome.check.is_signed_off
    assert [(result.step, result.outcome) for result in outcome.check.results][-1] == (wrong.step, "broken")
