"""What the bodies of the emulated modules do by nature: loads, heat, what a sensor makes of it, noise.

What belongs here: formulas and their constants. What does not: which state a module is in (`body`), and what it says of
itself (`telling`).
"""

import math
import random
from dataclasses import dataclass

MEASURED_EVERY_S = 1.0  # a module measures once a second: asked twice within one, it says the same


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is connected to an output, at full level."""

    watts: float
    power_factor: float = 1.0

    def current_a(self, watts: float, voltage_v: float) -> float:
        """Return the current in amperes while it takes so many watts: I = P / (U cos phi), one phase."""
        return watts / (voltage_v * self.power_factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nature:
    """How the body of a module behaves. Times are in seconds of the house.

    The temperature inside settles `kelvin_per_watt` of load above what it is without load, which is `idle_k` above what
    it is without power; `time_constant_s` is that of the way there. `power_noise` is relative. `boot_s` goes by from
    power to the network, `will_s` from no power until the broker says so for the module: MQTT 3.1.1 section 3.1.2.10,
    one and a half times a keep-alive of 4 s. `run_s` is how long a shutter takes from end to end. `shed_s` is how long
    an overload lasts before it is shed.
    """

    time_constant_s: float = 300.0
    kelvin_per_watt: float = 0.01
    idle_k: float = 8.0
    temperature_step_k: float = 0.1
    temperature_noise_k: float = 0.15
    power_noise: float = 0.003
    voltage_noise_v: float = 0.3
    rssi_noise_db: float = 1.0
    plate_loss_db: float = 4.0
    boot_s: float = 6.0
    will_s: float = 6.0
    run_s: float = 18.0
    shed_s: float = 0.5


def temperature_after(seconds: float, from_c: float, settles_c: float, time_constant_s: float) -> float:
    """Return the temperature in degrees Celsius after so many seconds of a first-order change.

    Validity: one heat capacity and one thermal resistance, constant power. Source: derived from C dT/dt = P - T/R.
    """
    return settles_c + (from_c - settles_c) * math.exp(-seconds / time_constant_s)


def seconds_until(at_c: float, from_c: float, settles_c: float, time_constant_s: float) -> float | None:
    """Return when a first-order rise comes to a temperature, in seconds; 0 where it is there, None where it never is.

    Source: `temperature_after`, solved for the time.
    """
    if from_c >= at_c:
        return 0.0
    if settles_c <= at_c:
        return None
    return time_constant_s * math.log((settles_c - from_c) / (settles_c - at_c))


def quantised(value: float, step: float) -> float:
    """Return a value as a sensor of that step says it, free of the noise of binary fractions."""
    return round(round(value / step) * step, 6)


def noise(seed: int, quantity: str, at_s: float) -> float:
    """Return the noise of one measurement, normally distributed with a standard deviation of 1.

    It is the same for everybody who asks within one measurement, and in each run whose clock says the same.
    """
    measurement = math.floor(at_s / MEASURED_EVERY_S)
    return random.Random(f"{seed} {quantity} {measurement}").gauss(0.0, 1.0)  # noqa: S311 - noise, not a secret
