"""Student's t, and what rounding leaves in a mean, at their edges; the values stand in the reference tests."""

import random
import statistics

import pytest

from pattress.circuit.student import rounding_variance, student_quantile, student_share


@pytest.mark.parametrize("freedom", [8, 12.5, 40])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 0.995])
def test_the_quantile_undoes_the_distribution(share: float, freedom: float) -> None:
    assert student_share(student_quantile(share, freedom), freedom) == pytest.approx(share, abs=0.004)


def test_less_than_one_degree_of_freedom_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one degree"):
        student_quantile(0.95, 0.5)


def test_without_noise_rounding_leaves_a_twelfth_of_the_step_squared() -> None:
    assert rounding_variance(0.5, 0.0) == pytest.approx(0.25 / 12)
    assert rounding_variance(0.5, 1e-6) == pytest.approx(0.25 / 12, rel=0.04)
    assert rounding_variance(0.0, 0.2) == 0.0


@pytest.mark.parametrize("noise", [0.1, 0.2, 0.3])
def test_what_rounding_leaves_in_a_mean_is_what_is_seen(noise: float) -> None:
    numbers = random.Random(20261125)
    errors = []
    for _ in range(400):
        value = numbers.uniform(0, 1)
        errors.append(statistics.fmean(round(numbers.gauss(value, noise)) for _ in range(1500)) - value)

    seen = statistics.fmean(error * error for error in errors) - (noise**2 + 1 / 12) / 1500

    assert rounding_variance(1.0, noise) == pytest.approx(seen, rel=0.15, abs=0.0002)
