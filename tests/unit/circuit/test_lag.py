"""The arithmetic of a lag: the step of a sensor, and what correlated rounding does to the width."""

import math

import pytest

from pattress.circuit.lag import fitted, found_step_k


@pytest.mark.parametrize(
    ("celsius", "step_k"),
    [
        ([21.0, 22.0, 25.0], 1.0),
        ([22.0, 24.0, 30.0], 2.0),
        ([21.5, 22.0, 25.0], 0.5),
        ([21.3, 22.0, 25.7], 0.1),
        ([21.25, 22.0, 25.5], 0.25),
        ([21.0625, 22.0, 25.5], 0.0625),
        ([21.31734, 22.0, 25.7], 0.0),
        ([21.111, 21.111, 21.667, 21.667, 22.222], 0.555),  # 70 to 72 degrees Fahrenheit
    ],
)
def test_the_step_of_a_sensor_is_the_coarsest_that_all_readings_are_multiples_of(
    celsius: list[float], step_k: float
) -> None:
    assert found_step_k(celsius) == pytest.approx(step_k)


def test_coarser_steps_make_the_same_readings_say_less() -> None:
    samples = [(5.0 * at, float(round(60 - 38 * math.exp(-5.0 * at / 60)))) for at in range(145)]

    fine, coarse = fitted(samples, 0.0), fitted(samples, 1.0)

    assert coarse.high_c - coarse.low_c > 3 * (fine.high_c - fine.low_c)


def test_the_wider_interval_encloses_the_narrower_and_the_best_value() -> None:
    samples = [(20.0 * at, float(round(70 - 48 * math.exp(-20.0 * at / 700)))) for at in range(25)]

    lag = fitted(samples, 1.0)

    assert lag.surely_low_c < lag.low_c < lag.settles_c < lag.high_c < lag.surely_high_c
    assert lag.tau_low_s < lag.time_constant_s < lag.tau_high_s
