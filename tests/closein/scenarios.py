"""Every visit to the emulated house, by its name: so a process of its own finds the one that it is to do.

What belongs here: who comes to which box, and what is wrong there. What does not: what must come of it (the tests).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from closein.boxes import BLIND, BOILER, DINING, HALL, KITCHEN, SHELF, WHEEL_ROOM
from closein.person import CUT_S, HEATED, MEASURED, WAITING, Habit, Person, habit
from closein.visit import Visit
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import stranger
from pattress.lab.world import World
from pattress.model.closein import step_order

STRANGER = stranger(Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883))).title
HANDS = ("input", "drive")

RIGHT: Mapping[str, Visit] = {
    "isolated-contact-relay": Visit(box=BOILER),
    "metered-relay": Visit(box=KITCHEN),
    "dual-relay": Visit(box=HALL, unpowered=(HALL.point,)),
    "shutter": Visit(box=BLIND),
    "dimmer": Visit(box=DINING),
    "led-controller": Visit(box=SHELF),
}
"""A right module of each class, and a person who does everything right."""


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
    person.world.cut_power(CUT_S)
    person.house.clock.run_at(WAITING)


async def _the_last_for_good(person: Person, found: re.Match[str]) -> None:
    """Cut the circuit of several boxes, the first time; the module at the last box does not come back by itself."""
    last = person.worlds[-1]
    if len(person.worlds) > 1:
        last.comes_back = False
    for world in person.worlds:
        world.cut_power(CUT_S)
    person.house.clock.run_at(WAITING if not last.comes_back else MEASURED)


async def _mend_the_last(person: Person, found: re.Match[str]) -> str:
    last = person.house.world(found[1])
    last.comes_back = True
    last.power_up()
    await person.house.after(last.nature.boot_s + 1)
    return "again"


async def _while_it_calls_home(person: Person, found: re.Match[str]) -> None:
    person.world.talk_outside("reaches")
    person.house.clock.run_at(HEATED)


async def _and_then_it_calls_home(person: Person, found: re.Match[str]) -> None:
    person.world.talk_outside("reaches")
    person.world.cut_power(CUT_S)


async def _and_then_it_hangs_up(person: Person, found: re.Match[str]) -> None:
    """What it did right after the power cut was all that it did: only waiting finds that."""
    await person.house.after(HANGS_UP_S)
    person.world.talk_outside(None)
    person.house.clock.run_at(WAITING)


def _wait_in_vain() -> tuple[str, Habit]:
    return habit(r"^Operate the switch of input \d+: ", lambda person: person.house.clock.run_at(WAITING), None)


HANGS_UP_S = 5.0

WRONG: Mapping[str, Wrong] = {
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
        visit=Visit(box=KITCHEN, has_automation=False, leaves_out=("input",)),
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
        sentence="sheds its load at 80 °C|the module shed its load",
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
            leaves_out=(*HANDS, "output", "radio", "power-cut"),
        ),
        step="outside",
        sentence="it reached 203.0.113.88 on TCP port 8883",
    ),
    "tries-the-outside-before-and-on": Wrong(
        visit=Visit(
            box=KITCHEN,
            spoil=lambda world: world.talk_outside("tries"),
            leaves_out=(*HANDS, "output", "radio", "heat", "power-cut"),
        ),
        step="outside",
        sentence="it tried to reach 203.0.113.88 on TCP port 8883",
    ),
    "calls-home-right-after-the-power-cut": Wrong(
        visit=Visit(
            box=KITCHEN,
            habits=(
                (r"^Switch the circuit off at the board", _and_then_it_calls_home),
                (r"^Waiting until the router has told", _and_then_it_hangs_up),
            ),
            leaves_out=(*HANDS, "output", "radio", "heat"),
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
"""Each with one thing wrong."""

STOPPED_IN_THE_MIDDLE = "stopped-in-the-middle"
WATCH_HAS_DIED = "the-watch-has-died"
WALK = "a-walk-of-two-points"
LOST_ON_A_WALK = "a-walk-at-which-one-module-does-not-come-back"
LONG: Mapping[str, Visit] = {
    WALK: Visit(box=KITCHEN, next_boxes=(BLIND,), leaves_out=("input", "output", "radio")),
    LOST_ON_A_WALK: Visit(
        box=KITCHEN,
        next_boxes=(BLIND,),
        habits=(
            (r"^Switch the circuit off at the board", _the_last_for_good),
            (r"^It is broken at (\S+)\. Mend it", _mend_the_last),
        ),
        leaves_out=(*HANDS, "output", "radio", "heat", "outside"),
    ),
    WATCH_HAS_DIED: Visit(
        box=KITCHEN,
        spoil=lambda world: world.talk_outside("reaches"),
        leaves_out=(*HANDS, "output", "radio", "heat", "power-cut"),
        has_watch_died=True,
    ),
    STOPPED_IN_THE_MIDDLE: Visit(
        box=KITCHEN,
        stops_at=r"^Switch output\.1 \(.*\) off again",
        leaves_out=("input", "radio", "heat", "power-cut", "outside"),
    ),
}
"""More than one box, more than one sitting, or nobody who watches."""

_LATE_FIRST = sorted(WRONG, key=lambda name: step_order(WRONG[name].step), reverse=True)
VISITS: Mapping[str, Visit] = {**LONG, **RIGHT, **{name: WRONG[name].visit for name in _LATE_FIRST}}
"""All of them in the order in which they are begun: those that take longest first, so that none is waited for alone."""
