"""Simulated rises of temperature in a closed box, as a rounding and noisy sensor shows them.

Each is first-order: it settles at 35 to 110 °C from an ambient of 15 to 30 °C, with a time constant of 2 to 25 minutes,
under white noise of 0.1 to 0.5 K before rounding; all uniform.
"""

import math
import random
from dataclasses import dataclass

Samples = list[tuple[float, float]]


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


def drawn(numbers: random.Random) -> TrueRise:
    """Return a rise of the stated ranges."""
    return TrueRise(
        settles_c=numbers.uniform(35, 110),
        starts_c=numbers.uniform(15, 30),
        time_constant_s=60 * numbers.uniform(2, 25),
        noise_k=numbers.uniform(0.1, 0.5),
    )


def sampled(
    true: TrueRise, numbers: random.Random, *, every_s: tuple[float, float], minutes: float = 8, step_k: float = 1.0
) -> Samples:
    """Return what a sensor shows, at times whose distances are uniform within `every_s`."""
    samples, now_s = [], 0.0
    while now_s <= 60 * minutes:
        celsius = true.at(now_s) + numbers.gauss(0, true.noise_k)
        samples.append((now_s, round(celsius / step_k) * step_k if step_k else celsius))
        now_s += numbers.uniform(*every_s)
    return samples
