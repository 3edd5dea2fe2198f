"""The physical world at the box of one emulated module: what a person does there.

What belongs here: hands and wires at one box. What does not: what follows inside a module (`body`), and all boxes
together (`worlds`). A world that nobody has touched leaves its module as the house says that it is.
"""

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Protocol

from pattress.lab.body import Body
from pattress.lab.house import ModuleState, WayOut
from pattress.lab.physics import Load, Nature
from pattress.lab.telling import told
from pattress.model.vocabulary import Value


class Surroundings(Protocol):
    """What a box has around it: the house, its clock and its automation."""

    now_s: float

    def at_rest(self, title: str) -> ModuleState:
        """Return how the house has a module where nobody touches anything."""

    def state(self, title: str) -> ModuleState:
        """Return how a module is now."""

    def advance(self) -> None:
        """Let time go by until now."""

    def automation(self, title: str, number: int, is_on: bool) -> None:
        """Do what the automation does about an input."""

    def stir(self) -> None:
        """Say that something has happened."""


class World:
    """The world at one box. Every method returns at once; seconds are those of the house.

    Attributes:
        title: The point, or the serial of a module in no plan.
        comes_back: Whether the module comes back after its power was cut.
    """

    def __init__(self, title: str, worlds: Surroundings, *, is_powered: bool) -> None:
        self.title = title
        self.comes_back = True
        self._worlds = worlds
        self._body: Body | None = None
        self._nature = Nature()
        self._changed: dict[str, Value] = {}
        self._plate_is_on = False
        self._kind: str | None = None
        self._way_out: WayOut | None = None
        self._was_up = is_powered
        self._last: Mapping[str, Value] = {}
        if not is_powered:
            self._wake(is_powered=False)

    @property
    def nature(self) -> Nature:
        """How the body of the module behaves."""
        return self._nature

    @nature.setter
    def nature(self, nature: Nature) -> None:
        with self._touched() as body:
            self._nature = nature
            body.become(nature)

    def press(self, switch: int, seconds: float = 1.0) -> None:
        """Press a momentary wall switch, and let it go after so long."""
        with self._touched() as body:
            body.operate(switch, True)
            body.later(f"release {switch}", seconds, lambda: body.operate(switch, False))

    def throw(self, switch: int) -> None:
        """Throw a maintained wall switch to its other side."""
        with self._touched() as body:
            body.operate(switch, not body.switches.is_pressed(switch))

    def set_switch(self, switch: int, on: bool) -> None:
        """Set a maintained wall switch to on or off, by what its face says."""
        with self._touched() as body:
            body.operate(switch, on)

    def move_output(self, output: int, on: bool) -> None:
        """Turn an output on or off by the module's own button. Of a shutter's, 1 opens and 2 closes."""
        with self._touched() as body:
            body.turn(output, on)

    def set_level(self, channel: int, pct: float) -> None:
        """Set a dimmer or an LED channel by hand."""
        with self._touched() as body:
            body.set_level(channel, pct)

    def connect_load(self, output: int, watts: float, power_factor: float = 1.0) -> None:
        """Connect a load to an output, in place of what was there. Watts are those at full level."""
        with self._touched() as body:
            body.loads[output] = Load(watts=watts, power_factor=power_factor)
            body.weigh(output)

    def runs(self, output: int) -> bool:
        """Return whether what is connected to an output runs, as anybody can see."""
        with self._touched() as body:
            return body.watts(output) > 0

    def disconnect_load(self, output: int) -> None:
        """Leave an output without a load."""
        with self._touched() as body:
            body.loads.pop(output, None)

    def exchange_loads(self, one: int, other: int) -> None:
        """Connect the loads of two outputs to one another's."""
        with self._touched() as body:
            loads = {one: body.loads.pop(other, None), other: body.loads.pop(one, None)}
            body.loads.update((output, load) for output, load in loads.items() if load is not None)
            for output in loads:
                body.weigh(output)

    def exchange_inputs(self, one: int, other: int) -> None:
        """Wire two wall switches to one another's inputs."""
        with self._touched() as body:
            body.switches.exchange(one, other)

    def invert_input(self, switch: int) -> None:
        """Fit a wall switch whose contact is closed at rest."""
        with self._touched() as body:
            body.switches.invert(switch)

    def fit_plate(self, on: bool) -> None:
        """Put the plate on, or take it off."""
        with self._touched():
            self._plate_is_on = on

    def cut_power(self, seconds: float) -> None:
        """Cut the power of the circuit for so long. The module is back some seconds later, or not at all."""
        with self._touched() as body:
            self._last = self._told(body)
            body.cut_power()
            if self.comes_back:
                body.later("power", seconds, body.power_up)

    def power_up(self) -> None:
        """Switch the circuit on: for the first time, or while it is cut."""
        with self._touched() as body:
            body.power_up()

    def change_setting(self, name: str, value: Value) -> None:
        """Change a setting in the module, as somebody with its password could."""
        with self._touched():
            self._changed[name] = value

    def talk_outside(self, way_out: WayOut | None) -> None:
        """Let the module try to reach its maker, or reach it; None lets it stay inside."""
        with self._touched():
            self._way_out = way_out

    def appear_as(self, kind: str) -> None:
        """Let the module be of another kind of its maker, one that reports no more than it does."""
        with self._touched():
            self._kind = kind

    def values(self) -> Mapping[str, Value]:
        """Return every setting and measurement of the module now."""
        return self._worlds.state(self.title).truth

    # The following are for the house.

    @property
    def body(self) -> Body | None:
        """The body of the module, None where nobody has touched it."""
        return self._body

    def awake(self) -> Body:
        """Return the body of the module, with settings as they are now."""
        body = self._wake(is_powered=True)
        body.truth = {**self._worlds.at_rest(self.title).truth, **self._changed}
        return body

    def seen(self, state: ModuleState) -> ModuleState:
        """Return how the module is, where `state` is how the house has it at rest."""
        body = self._body
        if body is None:
            return state
        self.awake()
        now_s = self._worlds.now_s
        self._was_up = self._was_up or body.is_up
        is_willed = body.cut_at_s is not None and now_s - body.cut_at_s >= body.nature.will_s
        return replace(
            state,
            kind=self._kind or state.kind,
            truth={**body.truth, **(self._told(body) if body.is_up else self._last)},
            is_present=state.is_present and self._was_up,
            is_powered=body.is_up,
            is_silent=state.is_silent or is_willed,
            way_out=self._way_out or state.way_out,
        )

    def _told(self, body: Body) -> Mapping[str, Value]:
        seed = self._worlds.at_rest(self.title).module.number
        return told(body, self._worlds.now_s, seed=seed, plate_is_on=self._plate_is_on)

    @contextlib.contextmanager
    def _touched(self) -> Iterator[Body]:
        self._worlds.advance()
        yield self.awake()
        self._worlds.stir()

    def _wake(self, *, is_powered: bool) -> Body:
        if self._body is None:
            truth = self._worlds.at_rest(self.title).truth
            self._body = Body(truth, self._nature, self._worlds.now_s, is_powered=is_powered)
            self._body.on_input = lambda number, is_on: self._worlds.automation(self.title, number, is_on)
        return self._body
