"""Whether what a curve leaves is noise: against SciPy's F test, and at its edges."""

import math
import random

import numpy as np
import pytest
from scipy.stats import f as fisher

from pattress.circuit.bends import bends_chance

SECONDS = [5.0 * at for at in range(60)]
ONES = [1.0] * len(SECONDS)


def noise(seed: int) -> list[float]:
    numbers = random.Random(seed)
    return [numbers.gauss(0, 0.3) for _ in SECONDS]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("bend_k", [0.0, 0.1, 0.3])
def test_the_chance_is_that_of_the_f_test_of_two_more_columns(seed: int, bend_k: float) -> None:
    """Two nested least squares by NumPy, their F by SciPy: exact, since nothing is known beforehand here."""
    scaled = np.linspace(-1, 1, len(SECONDS))
    left = np.array(noise(seed)) + bend_k * scaled**3
    fewer = np.column_stack([np.ones_like(scaled), scaled, scaled**2])
    more = np.column_stack([fewer, scaled**3, scaled**4])
    squares = [float(((left - one @ np.linalg.lstsq(one, left, rcond=None)[0]) ** 2).sum()) for one in (fewer, more)]
    freedom = len(SECONDS) - 5
    expected = fisher.sf((squares[0] - squares[1]) / 2 / (squares[1] / freedom), 2, freedom)

    chance = bends_chance(SECONDS, left.tolist(), fewer.T.tolist(), noise_square=0.0, noise_weight=0.0)

    assert chance == pytest.approx(expected, rel=1e-6)


def test_noise_is_taken_for_bends_as_often_as_the_chance_says() -> None:
    chances = [bends_chance(SECONDS, noise(seed), [ONES], noise_square=0.0, noise_weight=0.0) for seed in range(1000)]

    assert sum(chance < 0.1 for chance in chances) / 1000 == pytest.approx(0.1, abs=0.03)
    assert sum(chance < 0.01 for chance in chances) / 1000 == pytest.approx(0.01, abs=0.01)


def test_nothing_left_and_what_is_small_beside_the_known_noise_are_no_bends() -> None:
    tiny = [1e-6 * math.sin(at / 40) for at in SECONDS]

    assert bends_chance(SECONDS, [0.0] * len(SECONDS), [ONES], noise_square=0.3, noise_weight=3.0) == 1.0
    assert bends_chance(SECONDS, tiny, [ONES], noise_square=0.3, noise_weight=3.0) == pytest.approx(1.0)
    assert bends_chance(SECONDS, tiny, [ONES], noise_square=0.0, noise_weight=0.0) < 1e-6


def test_a_bend_that_rounding_may_bring_about_counts_for_nothing() -> None:
    waves = [[math.sin(at / 40) for at in SECONDS], [math.cos(at / 40) for at in SECONDS]]
    left = [one + 0.4 * wave for one, wave in zip(noise(7), waves[0], strict=True)]
    known = {"noise_square": 0.3, "noise_weight": 3.0}

    assert bends_chance(SECONDS, left, [ONES], **known) < 0.001
    assert bends_chance(SECONDS, left, [ONES], **known, waves=waves, wave_square=0.08) > 0.05


def test_columns_that_say_the_same_count_once() -> None:
    left = noise(3)

    once = bends_chance(SECONDS, left, [ONES, [0.0] * len(SECONDS)], noise_square=0.0, noise_weight=0.0)
    twice = bends_chance(SECONDS, left, [ONES, [2.0] * len(SECONDS)], noise_square=0.0, noise_weight=0.0)

    assert once == pytest.approx(twice)
