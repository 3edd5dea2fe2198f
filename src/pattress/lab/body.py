"""The body of one emulated module: outputs, loads, heat and power, and how each moves the others.

What belongs here: what is so, from one moment to the next; time comes in as an argument, in seconds of the house. What
does not: formulas (`physics`), what the module says of itself (`telling`), and who moves it (`world`).
"""

from collections.abc import Callable, Mapping

from pattress.lab.agenda import Agenda
from pattress.lab.physics import Load, Nature, seconds_until, temperature_after
from pattress.lab.wall_switches import WallSwitches
from pattress.model.vocabulary import Value

OPENS, CLOSES = 1, 2  # the outputs of a module that moves a shutter
FULL_PCT = 100.0
NOMINAL_V = 230.0  # of a circuit that no meter looks at

OnInput = Callable[[int, bool], None]
"""Told of an input that changed: its number, and whether it counts as on now."""


class Body:
    """A module with what is wired to it. It begins as its settings and measurements say, at a moment `now_s`.

    Attributes:
        truth: The settings of the module; what it measures is of the beginning only.
        nature: How it behaves.
        on_input: Who is told of inputs.
        switches: The wall switches at its box.
        on: Each output, and whether it is on.
        level_pct: The level of each dimmer or LED channel, 0 where it is off.
        loads: What is connected to each output.
        temperature_c: The temperature inside.
        energy_wh: What each meter has counted.
        position_pct: Where the shutter is, None where there is none.
        is_powered: Whether it has power, and `is_up` whether it is on the network.
        cut_at_s: When it lost power last, None while it is up.
        up_since_s: When it was last given power.
        restarts: How often it started.
        at_s: The moment until which all this is so.
    """

    def __init__(self, truth: Mapping[str, Value], nature: Nature, now_s: float, *, is_powered: bool = True) -> None:
        self.truth = truth
        self.nature = nature
        self.on_input: OnInput = lambda number, is_on: None
        self.switches = WallSwitches({number: truth[name] is True for number, name in _each(truth, "input", "closed")})
        self.on = {number: truth[name] is True for number, name in _each(truth, "output", "on")}
        levels = _each(truth, "dimmer", "level_pct") or _each(truth, "led", "level_pct")
        self.level_pct = {number: as_number(truth[name]) for number, name in levels}
        self.energy_wh = {number: as_number(truth[name]) for number, name in _each(truth, "meter", "energy_wh")}
        self.loads = self._loads_that_show()
        self.position_pct = as_number(truth["shutter.position_pct"]) if "shutter.position_pct" in truth else None
        self.is_powered = self.is_up = True
        self.cut_at_s: float | None = None
        self.up_since_s = now_s - self._setting("health.uptime_s")
        self.restarts = int(self._setting("health.restarts"))
        self.temperature_c = self._setting("health.temperature_c")
        self._idle_c = self.temperature_c - self.load_w * nature.kelvin_per_watt
        self._lit_pct = {number: level or FULL_PCT for number, level in self.level_pct.items()}
        self._lit_before = [number for number, level in self.level_pct.items() if level > 0] or [1]
        self._before_cut = dict(self.on)
        self.at_s = now_s
        self._agenda = Agenda()
        if not is_powered:
            self.cut_power()
            self.temperature_c = self._settles_c()

    @property
    def next_due_s(self) -> float | None:
        """When something happens by itself next, None where nothing is to."""
        moments = [at_s for at_s in (self._agenda.next_s, self._trips_at_s()) if at_s is not None]
        return min(moments, default=None)

    @property
    def load_w(self) -> float:
        """The power of everything that is on."""
        return sum(self.watts(number) for number in self.loads)

    def watts(self, output: int) -> float:
        """Return the power that the load of an output takes now."""
        load = self.loads.get(output)
        if load is None or not self.on.get(output, False):
            return 0.0
        return load.watts * self.level_pct.get(output, FULL_PCT) / FULL_PCT

    def advance(self, to_s: float) -> None:
        """Let time go by; whatever is due on the way happens at its moment."""
        while (due_s := self.next_due_s) is not None and due_s <= to_s:
            self._let_pass(due_s)
            happen = self._agenda.take(due_s) or self._shed_heat
            happen()
        self._let_pass(to_s)

    def become(self, nature: Nature) -> None:
        """Behave otherwise from now on. Where the temperature settles with the present load stays what it is."""
        settles_c, self.nature = self._settles_c(), nature
        self._idle_c += settles_c - self._settles_c()

    def later(self, name: str, seconds: float, happen: Callable[[], None]) -> None:
        """Have something happen after a while. Another thing of that name takes its place."""
        self._agenda.put(name, self.at_s + seconds, happen)

    def has_way(self, output: int) -> bool:
        """Return whether a shutter can run the way that an output moves it."""
        return self._way_pct(output) > 0

    def operate(self, switch: int, is_pressed: bool) -> None:
        """Move a wall switch; its input does what it is set to."""
        if not self.switches.set(switch, is_pressed) or not self.is_powered:
            return
        number = self.switches.input_of(switch)
        is_on = self._counts_as_on(number)
        match self.truth.get(f"input.{number}.action"):
            case "copies" if number in self.on:
                self.turn(number, is_on)
            case "alternates":
                self._turn_over(number)
            case "impulse" if is_on:
                self._turn_over(number)
            case _:
                pass
        self.on_input(number, is_on)

    def turn(self, output: int, on: bool) -> None:
        """Turn an output on or off, to its last level where it has one. A shutter's outputs move it, and stop it."""
        if not self.is_powered:
            return
        if self.position_pct is not None:
            self._move(output, on)
            return
        self.on[output] = on
        if output in self.level_pct:
            self.level_pct[output] = self._lit_pct[output] if on else 0.0
        self._agenda.drop(f"off {output}")
        off_after_s = self._setting(f"output.{output}.off_after_s")
        if on and off_after_s > 0:
            self.later(f"off {output}", off_after_s, lambda: self.turn(output, False))
        self.weigh(output)

    def set_level(self, channel: int, pct: float) -> None:
        """Set the level of a dimmer or LED channel; a dimmer that is on goes no lower than it may."""
        if pct > 0:
            self._lit_pct[channel] = max(pct, self._setting(f"dimmer.{channel}.min_level_pct"))
        self.turn(channel, pct > 0)

    def weigh(self, output: int) -> None:
        """See whether an output is overloaded; then it sheds its load after a moment."""
        self._agenda.drop(f"shed {output}")
        load, watts = self.loads.get(output), self.watts(output)
        if load is None or watts == 0:
            return
        limit_w = self._setting(f"output.{output}.over_power.limit_w")
        limit_a = self._setting(f"output.{output}.over_current.limit_a")
        current_a = load.current_a(watts, self._setting(f"meter.{output}.voltage_v") or NOMINAL_V)
        if 0 < limit_w < watts or 0 < limit_a < current_a:
            self.later(f"shed {output}", self.nature.shed_s, lambda: self.turn(output, False))

    def cut_power(self) -> None:
        """Take the power away. What was to happen inside does not; a finger on a switch still leaves it."""
        self._before_cut = dict(self.on)
        self.is_powered = self.is_up = False
        self.cut_at_s = self.at_s
        self.on = dict.fromkeys(self.on, False)
        self.level_pct = dict.fromkeys(self.level_pct, 0.0)
        self._agenda.keep_only("release ", "power")

    def power_up(self) -> None:
        """Give it power: its outputs come up as they are set to, and after a while it is on the network."""
        if self.is_powered:
            return
        self.is_powered = True
        self.up_since_s = self.at_s
        self.restarts += 1
        for output in self.on if self.position_pct is None else ():
            on_as = {"on": True, "as-before": self._before_cut[output]}
            if output in self.inputs:
                on_as["as-input"] = self._counts_as_on(output)
            self.turn(output, on_as.get(str(self.truth.get(f"output.{output}.at_power_up")), False))
        self.later("boot", self.nature.boot_s, self._booted)

    @property
    def inputs(self) -> list[int]:
        """The numbers of its inputs."""
        return [number for number, _ in _each(self.truth, "input", "closed")]

    def _booted(self) -> None:
        self.is_up = True
        self.cut_at_s = None

    def _setting(self, name: str) -> float:
        return as_number(self.truth.get(name, 0))

    def _loads_that_show(self) -> dict[int, Load]:
        """Return the loads that the meters of outputs that are on tell of at the beginning."""
        loads = {}
        for number, is_on in self.on.items():
            power_w, level = self._setting(f"meter.{number}.power_w"), self.level_pct.get(number, FULL_PCT)
            if is_on and power_w > 0 and level > 0:
                power_factor = self._setting(f"meter.{number}.power_factor") or 1.0
                loads[number] = Load(watts=power_w * FULL_PCT / level, power_factor=power_factor)
        return loads

    def _counts_as_on(self, input: int) -> bool:
        return self.switches.is_closed(input) != (self.truth.get(f"input.{input}.inverted") is True)

    def _turn_over(self, input: int) -> None:
        """Turn over what an input moves: the output of its number, or a whole LED strip."""
        if "led.supply_v" in self.truth:
            lit = [channel for channel, level in self.level_pct.items() if level > 0]
            self._lit_before = lit or self._lit_before
            for channel in self._lit_before:
                self.turn(channel, not lit)
        elif input in self.on:
            self.turn(input, not self.on[input])

    def _move(self, output: int, on: bool) -> None:
        """Move a shutter, or stop it; never both ways, and no longer than it takes to the end."""
        if not on and not self.on[output]:
            return
        self.on = dict.fromkeys(self.on, False)
        self._agenda.drop("arrive")
        way_pct = self._way_pct(output)
        if on and way_pct > 0:
            self.on[output] = True
            run_s = way_pct / FULL_PCT * self.nature.run_s
            longest_s = self._setting("shutter.max_run_s") or run_s
            self.later("arrive", min(run_s, longest_s), lambda: self._arrive(output, is_at_end=run_s <= longest_s))
            self.weigh(output)

    def _way_pct(self, output: int) -> float:
        position_pct = self.position_pct or 0.0
        return FULL_PCT - position_pct if output == OPENS else position_pct

    def _arrive(self, output: int, *, is_at_end: bool) -> None:
        if is_at_end:
            self.position_pct = FULL_PCT if output == OPENS else 0.0
        self._move(output, False)

    def _settles_c(self) -> float:
        if not self.is_powered:
            return self._idle_c - self.nature.idle_k
        return self._idle_c + self.load_w * self.nature.kelvin_per_watt

    def _trips_at_s(self) -> float | None:
        """Return when the first output that is on and protected against heat sheds its load."""
        limits = self._limits_c()
        if not limits:
            return None
        lowest_c = min(limits.values())
        seconds = seconds_until(lowest_c, self.temperature_c, self._settles_c(), self.nature.time_constant_s)
        return None if seconds is None else self.at_s + seconds

    def _limits_c(self) -> dict[int, float]:
        """Return the limit of each output that is on and sheds its load when it is hot."""
        return {
            output: float(limit_c)
            for output, is_on in self.on.items()
            if is_on
            and self.truth.get(f"output.{output}.over_temperature.enabled") is True
            and isinstance(limit_c := self.truth.get(f"output.{output}.over_temperature.limit_c"), int | float)
        }

    def _shed_heat(self) -> None:
        limits = self._limits_c()
        for output, limit_c in limits.items():
            if limit_c == min(limits.values()):
                self.turn(output, False)

    def _let_pass(self, to_s: float) -> None:
        """Integrate over a time in which nothing is switched."""
        seconds = to_s - self.at_s
        if seconds <= 0:
            return
        settles_c = self._settles_c()
        self.temperature_c = temperature_after(seconds, self.temperature_c, settles_c, self.nature.time_constant_s)
        for number in self.energy_wh:
            self.energy_wh[number] += self.watts(number) * seconds / 3_600
        if self.position_pct is not None:
            way = FULL_PCT * seconds / self.nature.run_s * (self.on[OPENS] - self.on[CLOSES])
            self.position_pct = min(FULL_PCT, max(0.0, self.position_pct + way))
        self.at_s = to_s


def as_number(value: Value) -> float:
    """Return a number; what a fault has made a text counts as 0."""
    return 0.0 if isinstance(value, str) else float(value)


def _each(truth: Mapping[str, Value], group: str, setting: str) -> list[tuple[int, str]]:
    """Return the number and the whole name of a setting of each channel of a group."""
    words = ((name.split("."), name) for name in truth)
    return sorted((int(each[1]), name) for each, name in words if each[0] == group and each[2:] == [setting])
