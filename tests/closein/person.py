"""The person at the box, by a script: reads the terminal, does what it says to the world, and answers.

A habit is what the person does at a prompt whose words match a pattern: acts, and returns what to type, or None where
what the module does is answer enough. The habits here are those of somebody who does everything right.
"""

import asyncio
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from closein.terminal import Terminal
from closein.transcript import Asked, Began, Ended, Transcript
from pattress.lab.run import EmulatedHouse
from pattress.lab.world import World

AT_THE_BOX = 2.5  # how fast the house runs while the person is busy
WATCHED = 1.5  # and while a switch is watched: a reading takes 0.3 s of real time, and no press may fall between two
MEASURED = 8  # while it is measured once a second of the house, or its circuit is dead
HEATED = 20  # while it gets warm: a reading takes 0.3 s of real time, and a timer may end it after two minutes
WAITING = 20  # while only minutes have to pass
# No faster: the watch takes stock every two seconds of real time, and a minute of the house without is not listened to.
PRESS_S = 1.5
CUT_S = 10.0
ROOM_C = "22"

Habit = Callable[["Person", re.Match[str]], Awaitable[str | None]]


@dataclass(slots=True)
class Person:
    """Somebody with a module in front of them, or several, one after another.

    `contacts` says which kind of switch is really fitted at each input of each point. Steps of the kinds in
    `leaves_out` are left out at the first prompt. `show` is given what the terminal shows, as it comes.
    """

    house: EmulatedHouse
    terminal: Terminal
    habits: list[tuple[str, Habit]]
    contacts: Mapping[str, Mapping[int, str]]
    leaves_out: tuple[str, ...] = ()
    show: Callable[[str], None] = lambda shown: None
    transcript: Transcript = field(default_factory=Transcript)
    ended: list[Ended] = field(default_factory=list)
    prompts: list[str] = field(default_factory=list)
    last_channel: str = ""
    points: list[str] = field(default_factory=list)

    @property
    def world(self) -> World:
        """The world at the box."""
        return self.worlds[-1]

    @property
    def worlds(self) -> list[World]:
        """The worlds at all boxes at which a step goes on."""
        return [self.house.world(point) for point in self.points]

    async def work(self) -> int:
        """Work through the check to its end, and return the exit status of the program."""
        while (shown := await self.terminal.read()) is not None:
            self.show(shown)
            events = self.transcript.feed(shown)
            if any(said.startswith("> ") for said in self.transcript.crossed):
                raise AssertionError(f"two questions at once:\n{self.transcript.text}")
            for event in events:
                await self._follow(event)
        for event in self.transcript.end():
            await self._follow(event)
        return await self.terminal.status()

    async def operate(self, number: int, times: int, apart_s: float) -> None:
        """Operate a wall switch some times."""
        for _ in range(times):
            if self.contacts[self.points[-1]][number] == "momentary":
                self.world.press(number, PRESS_S)
            else:
                self.world.throw(number)
            await self.house.after(apart_s)

    async def _follow(self, event: object) -> None:
        match event:
            case Began(point=point, step=step):
                self.points.append(point)
                self.house.clock.run_at(MEASURED if step == "radio" else AT_THE_BOX)
            case Ended(point=point):
                self.points.remove(point)
                self.ended.append(event)
            case Asked():
                self.prompts.append(event.text)
                reply = await self._reply(event)
                if reply is not None and await self._is_still_asked(event):
                    self.terminal.type(reply)

    async def _reply(self, asked: Asked) -> str | None:
        if asked.step is not None and asked.step.partition(".")[0] in self.leaves_out:
            if asked.text.startswith("CAUTION: "):
                return "no"
            return "skip" if "skip" in asked.replies else "not looked at this time"
        for pattern, habit in [*self.habits, *RIGHT_HABITS]:
            if found := re.search(pattern, asked.text):
                return await habit(self, found)
        raise AssertionError(f"nobody told the person what to do about {asked.text!r}\n{self.transcript.text}")

    async def _is_still_asked(self, asked: Asked) -> bool:
        """What was asked may have been taken back meanwhile: then something has been shown that was not read."""
        await asyncio.sleep(0)
        return self.transcript.open_prompt == asked.number and not self.terminal.peek()


async def _heed(person: Person, found: re.Match[str]) -> str:
    return "yes"


async def _power_it(person: Person, found: re.Match[str]) -> None:
    person.world.power_up()


async def _operate(person: Person, found: re.Match[str]) -> None:
    person.house.clock.run_at(WATCHED)
    await person.operate(int(found[1]), int(found[2]), float(found[3]))
    person.house.clock.run_at(AT_THE_BOX)


async def _operate_once(person: Person, found: re.Match[str]) -> str:
    person.house.clock.run_at(WATCHED)
    await person.operate(int(found[1]), 1, 3)
    person.house.clock.run_at(AT_THE_BOX)
    return "done"


async def _get_warm(person: Person, found: re.Match[str]) -> None:
    person.house.clock.run_at(HEATED)


async def _wait_long(person: Person, found: re.Match[str]) -> None:
    person.house.clock.run_at(WAITING)


async def _wait(person: Person, found: re.Match[str]) -> None:
    pass


async def _set_to_on(person: Person, found: re.Match[str]) -> str:
    person.world.set_switch(int(found[1]), True)
    return "done"


async def _move(person: Person, found: re.Match[str]) -> None:
    group, number, how = found[1], int(found[2]), found[3]
    person.last_channel = f"{group}.{number}"
    turn(person.world, group, number, how == "on")


def turn(world: World, group: str, number: int, on: bool) -> None:
    """Turn a channel on, fully, or off, by the module's own buttons."""
    if group == "output":
        world.move_output(number, on)
    else:
        world.set_level(number, 100 if on else 0)


async def _look(person: Person, found: re.Match[str]) -> str:
    return "yes" if person.world.runs(int(person.last_channel.partition(".")[2])) else "no"


async def _look_again(person: Person, found: re.Match[str]) -> str:
    return "no" if person.world.runs(int(person.last_channel.partition(".")[2])) else "yes"


async def _run_shutter(person: Person, found: re.Match[str]) -> None:
    way = 1 if float(person.world.values()["shutter.position_pct"]) < 50 else 2
    person.world.move_output(way, True)
    await person.house.after(6)
    person.world.move_output(way, False)


async def _fit_plate(person: Person, found: re.Match[str]) -> str:
    person.world.cut_power(CUT_S)
    person.world.fit_plate(True)
    await person.house.after(CUT_S + person.world.nature.boot_s + 1)
    return "done"


async def _tell_warmth(person: Person, found: re.Match[str]) -> str:
    return ROOM_C


async def _switch_all_on(person: Person, found: re.Match[str]) -> str:
    for world in person.worlds:
        for group in ("dimmer", "led", "output"):
            numbers = {int(name.split(".")[1]) for name in world.values() if re.match(rf"{group}\.\d+\.", name)}
            if numbers and "shutter.position_pct" not in world.values():
                for number in sorted(numbers):
                    turn(world, group, number, True)
                break
    return "done"


async def _cut_power(person: Person, found: re.Match[str]) -> None:
    person.house.clock.run_at(MEASURED)
    for world in person.worlds:
        world.cut_power(CUT_S)


async def stop(person: Person, found: re.Match[str]) -> str:
    return "stop"


async def _no_reason(person: Person, found: re.Match[str]) -> str:
    return "the script says so"


RIGHT_HABITS: list[tuple[str, Habit]] = [
    (r"^CAUTION: ", _heed),
    (r"^Power the module at \S+ now", _power_it),
    (r"^Operate the switch of input (\d+): (\d+) times, about ([\d.]+) s apart", _operate),
    (r"^Operate the switch of input (\d+) once: .* must answer", _operate_once),
    (r"^Waiting for it", _wait_long),
    (r"^Set the switch of input (\d+) to ON", _set_to_on),
    (r"^Switch (output|dimmer|led)\.(\d+) \(.*\) (off first|off again|on)\b", _move),
    (r"^No meter tells\. (Does|Did)", _look),
    (r"^No meter tells\. Has", _look_again),
    (r"^Run the shutter", _run_shutter),
    (r"^Fit the plate", _fit_plate),
    (r"^Waiting for the module to answer", _wait),
    (r"^How warm is the room", _tell_warmth),
    (r"^Switch on all that it feeds", _switch_all_on),
    (r"^Leave it on\. The heat is watched", _get_warm),
    (r"^Switch the circuit off at the board", _cut_power),
    (r"^Waiting until the router has told", _wait_long),
    (r"may the wall be closed over", _heed),
    (r"^It is broken\b", stop),
    (r"^Why is it left out", _no_reason),
]


def habit(pattern: str, act: Callable[[Person], Any], reply: str | None) -> tuple[str, Habit]:
    """Return a habit of acting on the world and typing a reply, whatever exactly is asked."""

    async def acted(person: Person, found: re.Match[str]) -> str | None:
        act(person)
        return reply

    return pattern, acted
