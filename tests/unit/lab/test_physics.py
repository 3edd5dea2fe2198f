import math
from statistics import fmean, stdev

import pytest

from pattress.lab.physics import Load, noise, quantised, seconds_until, temperature_after


def test_a_first_order_rise_has_gone_63_percent_of_its_way_after_one_time_constant() -> None:
    after_c = temperature_after(300, 40.0, 60.0, 300)

    assert after_c == pytest.approx(40 + 20 * (1 - 1 / math.e))


def test_the_rise_is_the_same_in_one_step_and_in_many() -> None:
    at_once_c = temperature_after(480, 38.5, 71.0, 250)

    in_steps_c = 38.5
    for _ in range(96):
        in_steps_c = temperature_after(5, in_steps_c, 71.0, 250)

    assert in_steps_c == pytest.approx(at_once_c)


def test_the_moment_of_a_temperature_is_where_the_rise_has_it() -> None:
    seconds = seconds_until(70, 40, 90, 300)

    assert seconds is not None
    assert temperature_after(seconds, 40, 90, 300) == pytest.approx(70)


def test_a_temperature_above_where_it_settles_is_never_there_and_one_below_is_there_now() -> None:
    assert seconds_until(90, 40, 90, 300) is None
    assert seconds_until(95, 40, 90, 300) is None
    assert seconds_until(40, 45, 90, 300) == 0


@pytest.mark.parametrize(
    ("watts", "power_factor", "ampere"),
    [(2_300, 1.0, 10.0), (1_150, 0.5, 10.0)],
)
def test_the_current_of_a_load_follows_from_power_voltage_and_power_factor(
    watts: float, power_factor: float, ampere: float
) -> None:
    load = Load(watts=watts, power_factor=power_factor)

    assert load.current_a(watts, 230) == pytest.approx(ampere)


@pytest.mark.parametrize(("step", "said"), [(1.0, 38.0), (0.1, 38.4), (0.5, 38.5)])
def test_a_sensor_says_the_nearest_of_its_steps(step: float, said: float) -> None:
    assert quantised(38.43, step) == said


def test_noise_is_normal_the_same_within_a_second_and_another_for_each_quantity_and_module() -> None:
    drawn = [noise(11, "power 1", second) for second in range(2_000)]

    assert abs(fmean(drawn)) < 0.1
    assert 0.9 < stdev(drawn) < 1.1
    assert noise(11, "power 1", 7.0) == noise(11, "power 1", 7.9) == drawn[7]
    assert len({noise(11, "power 1", 7), noise(11, "power 2", 7), noise(12, "power 1", 7)}) == 3
