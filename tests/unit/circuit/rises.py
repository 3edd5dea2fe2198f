"""Simulated rises of temperature in a closed box, as a rounding and noisy sensor shows them.

Each is first-order: it settles at 35 to 110 °C from an ambient of 15 to 30 °C, with a time constant of 2 to 25 minutes,
under white noise of 0.1 to 0.5 K before rounding; all uniform. What departs from it is so in one way each.
"""

import math
import random
from dataclasses import dataclass
from typing import Protocol

Samples = list[tuple[float, float]]


class Warming(Protocol):
    """A true temperature over time, where it settles, and the noise that it is seen under."""

    @property
    def settles_c(self) -> float: ...

    @property
    def noise_k(self) -> float: ...

    def at(self, seconds: float) -> float: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueRise:
    """What is so, whatever the sensor says."""

    settles_c: float
    starts_c: float
    time_constant_s: float
    noise_k: float

    def at(self, seconds: float) -> float:
        """The temperature at a moment, in degrees Celsius."""
        return self.settles_c - (self.settles_c - self.starts_c) * math.exp(-seconds / self.time_constant_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A rise that goes on as another one from a moment on: another load, or another cooling."""

    first: TrueRise
    then: TrueRise  # its start is where the first one has got to
    after_s: float

    @property
    def settles_c(self) -> float:
        """Where it settles if nothing changes any more, in degrees Celsius."""
        return self.then.settles_c

    @property
    def noise_k(self) -> float:
        """The noise before rounding, in kelvin."""
        return self.first.noise_k

    def at(self, seconds: float) -> float:
        """The temperature at a moment, in degrees Celsius."""
        return self.first.at(seconds) if seconds <= self.after_s else self.then.at(seconds - self.after_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Summed:
    """A rise in two parts that go as two time constants: the share of the first may be below zero, or above one.

    A small lump on a large one is such a sum; a sensor that lags by L behind a rise of time constant T one with shares
    of T / (T - L) and -L / (T - L) (two lags in a row).
    """

    whole: TrueRise
    share: float
    other_s: float

    @property
    def settles_c(self) -> float:
        """Where it settles, in degrees Celsius."""
        return self.whole.settles_c

    @property
    def noise_k(self) -> float:
        """The noise before rounding, in kelvin."""
        return self.whole.noise_k

    def at(self, seconds: float) -> float:
        """The temperature at a moment, in degrees Celsius."""
        left = self.share * math.exp(-seconds / self.whole.time_constant_s)
        left += (1 - self.share) * math.exp(-seconds / self.other_s)
        return self.whole.settles_c - (self.whole.settles_c - self.whole.starts_c) * left


def load_changed(numbers: random.Random) -> Changed:
    """Return a rise of which half to twice the load is on from minute 2 to 6 on."""
    return _changed(drawn(numbers), numbers.uniform(120, 360), rise=numbers.choice((0.5, 0.7, 1.4, 2.0)), slower=1)


def plate_fitted(numbers: random.Random) -> Changed:
    """Return a rise of which the heat goes away 15 to 50 % worse from minute 3 on."""
    worse = numbers.uniform(1.15, 1.5)
    return _changed(drawn(numbers), 180, rise=worse, slower=worse)


def sensor_lagged(numbers: random.Random) -> Summed:
    """Return a rise seen by a sensor that lags by 20 to 60 s."""
    true, lag_s = drawn(numbers), numbers.uniform(20, 60)
    return Summed(whole=true, share=true.time_constant_s / (true.time_constant_s - lag_s), other_s=lag_s)


def two_lumps(numbers: random.Random) -> Summed:
    """Return a rise of which 40 to 80 % goes with a time constant of 1 to 4 minutes."""
    return Summed(whole=drawn(numbers), share=1 - numbers.uniform(0.4, 0.8), other_s=numbers.uniform(60, 240))


def _changed(true: TrueRise, after_s: float, *, rise: float, slower: float) -> Changed:
    then = TrueRise(
        settles_c=true.starts_c + rise * (true.settles_c - true.starts_c),
        starts_c=true.at(after_s),
        time_constant_s=slower * true.time_constant_s,
        noise_k=true.noise_k,
    )
    return Changed(first=true, then=then, after_s=after_s)


def drawn(numbers: random.Random) -> TrueRise:
    """Return a rise of the stated ranges."""
    return TrueRise(
        settles_c=numbers.uniform(35, 110),
        starts_c=numbers.uniform(15, 30),
        time_constant_s=60 * numbers.uniform(2, 25),
        noise_k=numbers.uniform(0.1, 0.5),
    )


def sampled(
    true: Warming, numbers: random.Random, *, every_s: tuple[float, float], minutes: float = 8, step_k: float = 1.0
) -> Samples:
    """Return what a sensor shows, at times whose distances are uniform within `every_s`."""
    samples, now_s = [], 0.0
    while now_s <= 60 * minutes:
        celsius = true.at(now_s) + numbers.gauss(0, true.noise_k)
        samples.append((now_s, round(celsius / step_k) * step_k if step_k else celsius))
        now_s += numbers.uniform(*every_s)
    return samples
