"""The first-order thermal model against a table worked by hand, and against SciPy as an independent calculator.

Table: T(t) = Ta + P Rth (1 - exp(-t / tau)), tau = Rth C; Ta = 25 degrees Celsius, P = 1.5 W, Rth = 20 K/W, C = 30 J/K.
Source: derived (heat balance of one resistance and one capacity). Printed to 0.001 K.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit
from scipy.stats import t as student

from pattress.circuit.heat import contact_loss_w, fit_rise, settling_c, temperature_c
from pattress.circuit.student import student_quantile, student_share

AMBIENT_C, DISSIPATION_W, RESISTANCE_K_PER_W, CAPACITY_J_PER_K = 25.0, 1.5, 20.0, 30.0
TAU_S = RESISTANCE_K_PER_W * CAPACITY_J_PER_K
TABLE = [(300, 36.804), (600, 43.964), (1200, 50.940), (1800, 53.506), (3000, 54.798)]


def test_it_settles_at_55_degrees_with_a_time_constant_of_ten_minutes() -> None:
    assert settling_c(AMBIENT_C, DISSIPATION_W, RESISTANCE_K_PER_W) == 55
    assert TAU_S == 600


@pytest.mark.parametrize(("seconds", "celsius"), TABLE)
def test_the_rise_is_that_of_the_table(seconds: float, celsius: float) -> None:
    assert temperature_c(seconds, starts_c=25, settles_c=55, time_constant_s=TAU_S) == pytest.approx(celsius, abs=5e-4)


@pytest.mark.parametrize(("seconds", "celsius"), TABLE)
def test_the_table_is_what_the_heat_balance_gives_when_integrated(seconds: float, celsius: float) -> None:
    """C dT/dt = P - (T - Ta) / Rth, integrated by SciPy without the closed form."""

    def balance(_: float, temperature: np.ndarray) -> np.ndarray:
        return (DISSIPATION_W - (temperature - AMBIENT_C) / RESISTANCE_K_PER_W) / CAPACITY_J_PER_K

    solved = solve_ivp(balance, (0, seconds), [AMBIENT_C], rtol=1e-9, atol=1e-9)

    assert solved.y[0, -1] == pytest.approx(celsius, abs=1e-3)


def test_one_time_constant_is_63_21_percent_of_the_step() -> None:
    assert temperature_c(TAU_S, starts_c=0, settles_c=100, time_constant_s=TAU_S) == pytest.approx(63.21, abs=0.005)


def test_ten_amperes_through_five_milliohms_dissipate_half_a_watt() -> None:
    """I^2 R = 10^2 x 0.005. Source: Joule's law."""
    assert contact_loss_w(10, 0.005) == pytest.approx(0.5)


def test_the_first_20_minutes_of_the_table_lead_to_its_end() -> None:
    """Exact samples each 20 s; tolerance: what the weak priors may pull at no noise, 0.3 K and 2 %."""
    times = [20.0 * at for at in range(61)]

    rise = fit_rise([(at, temperature_c(at, starts_c=25, settles_c=55, time_constant_s=TAU_S)) for at in times])

    assert rise.settles_c == pytest.approx(55, abs=0.3)
    assert rise.time_constant_s == pytest.approx(TAU_S, rel=0.02)


def test_where_samples_are_many_and_fine_the_fit_is_that_of_scipy() -> None:
    """20 minutes each 2 s with 0.1 K of noise, not rounded: within a fifth of SciPy's own standard error of it."""
    numbers = np.random.default_rng(20261125)
    seconds = np.arange(0, 1200, 2.0)
    celsius = 55 - 30 * np.exp(-seconds / TAU_S) + numbers.normal(0, 0.1, seconds.size)

    def model(at: np.ndarray, settles: float, swing: float, tau: float) -> np.ndarray:
        return settles - swing * np.exp(-at / tau)

    best, covariance = curve_fit(model, seconds, celsius, p0=(50, 25, 400))
    rise = fit_rise(list(zip(seconds.tolist(), celsius.tolist(), strict=True)))

    error_k = covariance[0, 0] ** 0.5
    assert abs(rise.settles_c - best[0]) < 0.2 * error_k
    assert (rise.high_c - rise.low_c) / (2 * 1.645 * error_k) == pytest.approx(1, abs=0.25)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 8, 15, 40, 200])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 0.95, 0.975])
def test_quantiles_of_students_t_are_those_of_scipy(share: float, freedom: int) -> None:
    """Within 2 % where there are three degrees of freedom, within 0.5 % from four on."""
    expected = student.ppf(share, freedom)

    assert student_quantile(share, freedom) == pytest.approx(expected, rel=0.02 if freedom == 3 else 0.005, abs=1e-9)


@pytest.mark.parametrize("freedom", [8, 15, 40, 200])
@pytest.mark.parametrize("value", [-3.0, -1.645, 0.0, 0.5, 2.0])
def test_shares_of_students_t_are_those_of_scipy(value: float, freedom: int) -> None:
    assert student_share(value, freedom) == pytest.approx(student.cdf(value, freedom), abs=0.003)
