"""The worlds of all boxes of the emulated house, on one clock, and the automation between them.

What belongs here: letting time go by for all of them together, who drives whom, and telling the house that something
has happened. What does not: one box (`world`), and serving the modules (`run`).
"""

import asyncio
import contextlib
import math
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from pattress.lab.body import CLOSES, OPENS, Body
from pattress.lab.clock import HouseClock
from pattress.lab.house import ModuleState
from pattress.lab.world import World
from pattress.model.vocabulary import Value

AUTOMATION_S = 0.3  # from an input to what the automation makes of it, in seconds of the house
REPORT_S = 0.5  # real: how often a module that lives on the broker says what it measures; faster, nobody could follow
SHORTEST_S = 0.05  # real: however fast the house runs, its servers follow no more often
AHEAD_S = 0.001  # a module's clock is told to the millisecond


@dataclass(frozen=True, slots=True, kw_only=True)
class Automation:
    """What an input that only reports drives: a channel (`output.1`, `dimmer.1`, `led.2`, `shutter`) of a module."""

    title: str
    channel: str


class Worlds:
    """The world at each box, by the title of its module.

    Args:
        titles: Every module of the house.
        unpowered: Those that have never had power.
        at_rest: How the house has a module where nobody touches anything.
        clock: The clock of the house.
    """

    def __init__(
        self,
        titles: Iterable[str],
        unpowered: Collection[str],
        at_rest: Callable[[str], ModuleState],
        clock: HouseClock,
    ) -> None:
        self.at_rest = at_rest
        self.now_s = clock.now_s()
        self.automations: dict[tuple[str, int], Automation] = {}
        self._clock = clock
        self._stirred = asyncio.Event()
        clock.on_change(self.stir)
        self._worlds: dict[str, World] = {}
        for title in titles:
            self._worlds[title] = World(title, self, is_powered=title not in unpowered)

    def __getitem__(self, title: str) -> World:
        return self._worlds[title]

    def state(self, title: str) -> ModuleState:
        """Return how a module is now."""
        self.advance()
        state = self._worlds[title].seen(self.at_rest(title))
        return _by_its_clock(state, self._clock.ahead_s)

    def advance(self) -> None:
        """Let time go by until now in every world, things of all of them in the order of their moments."""
        self.now_s = max(self.now_s, self._clock.now_s())
        while True:
            first = min(self._bodies(), key=_next_due_s, default=None)
            if first is None or _next_due_s(first) > self.now_s:
                break
            first.advance(_next_due_s(first))
        for body in self._bodies():
            body.advance(self.now_s)

    def automation(self, title: str, number: int, is_on: bool) -> None:
        """Do what the house's automation does about an input: turn something over at each press or each throw."""
        driven = self.automations.get((title, number))
        source = self._worlds[title].awake()
        is_press_over = not is_on and source.truth.get(f"input.{number}.contact") == "momentary"
        if driven is None or is_press_over or not source.is_up:
            return
        target = self._worlds[driven.title].awake()
        target.advance(source.at_s)
        target.later(f"driven {title} {number}", AUTOMATION_S, lambda: _drive(target, driven.channel, number))

    def stir(self) -> None:
        """Say that something has happened that the servers of the house must follow."""
        self._stirred.set()

    async def stirred(self, *, reports: bool) -> None:
        """Wait until something has happened, by hand or by itself, or modules have something to report."""
        moments = [_next_due_s(body) for body in self._bodies()]
        wills = [body.cut_at_s + body.nature.will_s for body in self._bodies() if body.cut_at_s is not None]
        moments += [will_s for will_s in wills if will_s > self.now_s]
        wait_s = self._clock.real_s(min(moments, default=math.inf) - self._clock.now_s())
        wait_s = max(SHORTEST_S, min(wait_s, REPORT_S if reports else math.inf))
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(None if wait_s == math.inf else wait_s):
                await self._stirred.wait()
        self._stirred.clear()

    def is_awake(self, title: str) -> bool:
        """Return whether anybody has touched anything at a box."""
        return self._worlds[title].body is not None

    def _bodies(self) -> list[Body]:
        return [world.body for world in self._worlds.values() if world.body is not None]


def _next_due_s(body: Body) -> float:
    due_s = body.next_due_s
    return math.inf if due_s is None else due_s


def _drive(target: Body, channel: str, number: int) -> None:
    """Turn a channel over. A shutter that runs stops; else the first input opens it and the second closes it.

    One that stands at its end runs the other way, so that no push seems to be dead.
    """
    group, _, own = channel.partition(".")
    if group == "shutter":
        running = [output for output, is_on in target.on.items() if is_on]
        way, back = (CLOSES, OPENS) if number == CLOSES else (OPENS, CLOSES)
        target.turn(running[0] if running else way if target.has_way(way) else back, not running)
    else:
        target.turn(int(own), not target.on[int(own)])


def _by_its_clock(state: ModuleState, ahead_s: float) -> ModuleState:
    """Set a module's clock by that of the house, which may be ahead of this machine's."""
    offset_s = state.truth.get("time.offset_s")
    if abs(ahead_s) < AHEAD_S or not isinstance(offset_s, int | float):
        return state
    truth: Mapping[str, Value] = {**state.truth, "time.offset_s": offset_s + ahead_s}
    return replace(state, truth=truth)
