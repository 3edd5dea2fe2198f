"""Where a rise settles: against simulated rises of which the truth is known, and at the edges."""

import math
import random
from collections import defaultdict
from collections.abc import Callable
from functools import cache

import pytest

from pattress.circuit.heat import LATER_S, Rise, contact_loss_w, decide, fit_rise, scale, settling_c, temperature_c
from pattress.circuit.lag import LONGEST_S, SHORTEST_S, USUAL_RISE_K, USUAL_SPREAD_K, USUAL_TAU_S, USUAL_TAU_SPREAD
from unit.circuit.rises import (
    Changed,
    Samples,
    TrueRise,
    Warming,
    drawn,
    load_changed,
    plate_fitted,
    sampled,
    sensor_lagged,
    two_lumps,
)

RISES = 1000
DEPARTING = 300
SEED = 20261125
SPACINGS = [(5.0, 5.0), (15.0, 15.0), (15.0, 30.0), (30.0, 30.0)]
FROM_LIMIT_K = (-40, -20, -10, -5, -2, -1, 1, 2, 5, 10, 20, 40)
STRATA_MIN = ((2, 5), (5, 10), (10, 15), (15, 20), (20, 25))


@cache
def simulated(every_s: tuple[float, float]) -> list[tuple[TrueRise, Rise]]:
    numbers = random.Random(f"{SEED} {every_s}")
    trues = [drawn(numbers) for _ in range(RISES)]
    return [(true, fit_rise(sampled(true, numbers, every_s=every_s))) for true in trues]


def covered(pairs: list[tuple[TrueRise, Rise]]) -> float:
    return sum(rise.low_c <= true.settles_c <= rise.high_c for true, rise in pairs) / len(pairs)


@pytest.mark.parametrize("every_s", SPACINGS)
def test_the_90_percent_interval_holds_the_truth_in_85_to_95_percent(every_s: tuple[float, float]) -> None:
    pairs = simulated(every_s)

    share = covered(pairs)

    assert 0.85 <= share <= 0.95


@pytest.mark.parametrize("every_s", SPACINGS)
def test_the_interval_is_right_for_short_and_for_long_time_constants(every_s: tuple[float, float]) -> None:
    """Of about 200 rises a share of 0.9 is measured to 0.021 (one standard deviation).

    Of 16,000 others, 4,000 of each spacing, it was 0.887 to 0.943 up to 20 minutes, and 0.942 to 0.975 above: where the
    samples say little, a usual time constant is covered more often than the 90 % that hold on average over all.
    """
    pairs = simulated(every_s)

    shares = {
        (low, high): covered([pair for pair in pairs if low <= pair[0].time_constant_s / 60 < high])
        for low, high in STRATA_MIN
    }

    assert all(0.82 <= share <= 0.99 for share in shares.values()), shares


@pytest.mark.parametrize("every_s", [(5.0, 5.0), (15.0, 30.0)])
def test_the_interval_is_right_on_average_over_all_that_is_expected_beforehand(every_s: tuple[float, float]) -> None:
    """Truths drawn from the priors themselves, as simulation-based calibration does (Cook, Gelman and Rubin 2006).

    0.900 to 0.910 of 2,000 others.
    """
    numbers = random.Random(f"{SEED} expected {every_s}")
    pairs = []
    while len(pairs) < RISES:
        time_constant_s = USUAL_TAU_S * math.exp(numbers.gauss(0, USUAL_TAU_SPREAD))
        if SHORTEST_S <= time_constant_s <= LONGEST_S:
            starts_c, rise_k = numbers.uniform(15, 30), numbers.gauss(USUAL_RISE_K, USUAL_SPREAD_K)
            true = TrueRise(
                settles_c=starts_c + rise_k,
                starts_c=starts_c,
                time_constant_s=time_constant_s,
                noise_k=numbers.uniform(0.1, 0.5),
            )
            pairs.append((true, fit_rise(sampled(true, numbers, every_s=every_s))))

    assert 0.87 <= covered(pairs) <= 0.93


@pytest.mark.parametrize("every_s", SPACINGS)
def test_more_time_is_asked_for_rather_than_deciding_wrongly(every_s: tuple[float, float]) -> None:
    wrong: defaultdict[int, int] = defaultdict(int)
    decided: defaultdict[int, int] = defaultdict(int)

    for true, rise in simulated(every_s):
        for distance in FROM_LIMIT_K:
            decision = decide(rise, true.settles_c + distance)
            decided[distance] += decision != "needs more time"
            wrong[distance] += decision == ("above" if distance > 0 else "below")

    assert all(wrong[distance] == 0 for distance in FROM_LIMIT_K if abs(distance) >= 20), dict(wrong)
    assert all(wrong[distance] <= RISES * 0.01 for distance in FROM_LIMIT_K), dict(wrong)
    assert decided[-20] > 0.75 * RISES
    assert decided[40] > 0.45 * RISES


@pytest.mark.parametrize("every_s", SPACINGS)
def test_next_to_no_rise_of_first_order_is_taken_for_none(every_s: tuple[float, float]) -> None:
    """By its level 1 %; 0.4 to 0.6 % of 4,000 others, since rounding is allowed its worst."""
    assert sum(not rise.is_one_lag for _, rise in simulated(every_s)) <= RISES * 0.015


@pytest.mark.parametrize(
    ("departing", "wrong_at_most"),
    [(load_changed, 0.06), (plate_fitted, 0.04), (sensor_lagged, 0.03), (two_lumps, 0.13)],
)
def test_what_is_no_rise_of_first_order_is_mostly_left_undecided(
    departing: Callable[[random.Random], Warming], wrong_at_most: float
) -> None:
    """Believing in one lag decided 30, 4, 20 and 21 % wrongly; with this test it is 4, 2, 1 and 9 % (of 6,000 each)."""
    wrong, decided = _decisions(departing, minutes=8)

    assert wrong <= wrong_at_most
    assert decided < 0.7


@pytest.mark.parametrize("departing", [load_changed, plate_fitted, sensor_lagged, two_lumps])
def test_in_twenty_minutes_what_came_early_is_over_and_it_is_decided_rightly(
    departing: Callable[[random.Random], Warming],
) -> None:
    """Measured of 3,600 others: 0 to 0.9 % wrong, 64 to 77 % decided; without it 0.3 to 20 % wrong."""
    wrong, decided = _decisions(departing, minutes=20)

    assert wrong <= 0.02
    assert decided > 0.5


def test_what_is_no_rise_of_first_order_says_so_and_is_never_settled() -> None:
    true = load_doubled_at_4_minutes()

    rise = fit_rise(sampled(true, random.Random(5), every_s=(5, 5)))
    scaled = scale(rise, ambient_c=22, planned_ambient_c=32)

    assert (rise.is_one_lag, rise.has_settled, rise.needs_more) == (False, False, True)
    assert {decide(one, limit) for one in (rise, scaled) for limit in (-50, 20, 60, 200)} == {"needs more time"}


def test_the_later_half_counts_by_itself_where_it_is_long_enough_and_the_rise_still_from_the_first_sample() -> None:
    true = load_doubled_at_4_minutes()
    samples = sampled(true, random.Random(6), every_s=(5, 5), minutes=20)

    rise = fit_rise(samples)
    shorter = fit_rise([one for one in samples if one[0] < 2 * LATER_S])

    assert (rise.is_one_lag, rise.starts_c) == (True, samples[0][1])
    assert (rise.samples, rise.watched_s) == (len(samples), 1200)
    assert rise.low_c <= true.settles_c <= rise.high_c
    assert not shorter.is_one_lag


@pytest.mark.parametrize("step_k", [0.0, 0.1, 0.5])
def test_the_interval_holds_for_finer_sensors_too(step_k: float) -> None:
    numbers = random.Random(f"{SEED} {step_k}")
    trues = [drawn(numbers) for _ in range(300)]

    share = covered([(true, fit_rise(sampled(true, numbers, every_s=(5, 5), step_k=step_k))) for true in trues])

    assert 0.84 <= share <= 0.96


def test_a_settled_temperature_within_one_step_of_the_sensor_is_not_known_better_than_the_step() -> None:
    """145 readings, most of them alike: counted as independent they would claim to know it to 0.05 K."""
    numbers = random.Random(SEED)
    trues = [
        TrueRise(settles_c=numbers.uniform(59.5, 60.5), starts_c=22, time_constant_s=60, noise_k=0.1)
        for _ in range(200)
    ]

    pairs = [(true, fit_rise(sampled(true, numbers, every_s=(5, 5), minutes=12))) for true in trues]

    assert covered(pairs) >= 0.85
    assert sum(rise.high_c - rise.low_c for _, rise in pairs) / len(pairs) > 0.5
    assert sum(rise.has_settled for _, rise in pairs) >= 195  # the others are taken for no rise of first order


def test_exact_samples_give_back_the_curve() -> None:
    rise = fit_rise(curve(settles_c=55, starts_c=25, time_constant_s=600))

    assert rise.settles_c == pytest.approx(55, abs=0.5)
    assert rise.starts_c == pytest.approx(25, abs=0.1)
    assert rise.time_constant_s == pytest.approx(600, rel=0.03)
    assert rise.low_c < 55 < rise.high_c
    assert rise.tau_low_s < 600 < rise.tau_high_s


def test_the_first_minute_of_a_slow_rise_needs_more_time() -> None:
    true = TrueRise(settles_c=70, starts_c=22, time_constant_s=900, noise_k=0.2)

    rise = fit_rise(sampled(true, random.Random(1), every_s=(5, 5), minutes=1))

    assert rise.needs_more
    assert not rise.has_settled
    assert decide(rise, 85) == "needs more time"


def test_more_minutes_make_the_interval_narrower_until_only_rounding_is_left() -> None:
    true = TrueRise(settles_c=70, starts_c=22, time_constant_s=420, noise_k=0.2)
    samples = sampled(true, random.Random(2), every_s=(5, 5), minutes=60)

    rises = [fit_rise([one for one in samples if one[0] <= 60 * minutes]) for minutes in (4, 8, 16, 60)]

    widths = [rise.high_c - rise.low_c for rise in rises]
    assert widths[0] > widths[1] > widths[2]
    assert widths[3] == pytest.approx(widths[2], abs=0.2)
    assert [rise.has_settled for rise in rises] == [False, False, False, True]
    assert not rises[-1].needs_more


def test_a_module_that_stays_as_it_is_settles_where_it_is() -> None:
    rise = fit_rise([(5.0 * at, 31.0) for at in range(97)])

    assert decide(rise, 85) == "below"
    assert abs(rise.settles_c - 31) < 2


def test_a_module_that_cools_is_fitted_too() -> None:
    rise = fit_rise(curve(settles_c=30, starts_c=60, time_constant_s=300))

    assert rise.settles_c == pytest.approx(30, abs=0.5)
    assert rise.rise_k == pytest.approx(-30, abs=0.6)


def test_a_limit_that_has_been_passed_already_is_decided() -> None:
    true = TrueRise(settles_c=105, starts_c=22, time_constant_s=300, noise_k=0.3)

    rise = fit_rise(sampled(true, random.Random(3), every_s=(5, 5)))

    assert decide(rise, 80) == "above"


def test_a_margin_lowers_what_must_be_stayed_below() -> None:
    rise = fit_rise(curve(settles_c=55, starts_c=25, time_constant_s=200))

    assert decide(rise, 60) == "below"
    assert decide(rise, 60, margin_k=10) == "above"


def test_an_hour_of_a_sample_each_second_is_no_worse_than_fewer() -> None:
    true = TrueRise(settles_c=70, starts_c=22, time_constant_s=600, noise_k=0.3)

    rise = fit_rise(sampled(true, random.Random(4), every_s=(1, 1), minutes=60))

    assert rise.samples == 3601
    assert rise.settles_c == pytest.approx(70, abs=0.2)


def test_the_moment_that_time_is_counted_from_does_not_matter() -> None:
    samples = curve(settles_c=55, starts_c=25, time_constant_s=600)

    later = fit_rise([(seconds + 1e6, celsius) for seconds, celsius in samples])

    assert later.settles_c == pytest.approx(fit_rise(samples).settles_c, abs=0.01)


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        ([(0.0, 20.0), (5.0, 21.0)], "2 samples are too few"),
        ([(0.0, 20.0)] * 6, "do not go on in time"),
        ([(float(at), math.nan) for at in range(6)], "not a finite number"),
    ],
)
def test_samples_that_allow_no_fit_are_refused(samples: Samples, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        fit_rise(samples)


def test_a_rise_goes_with_the_load_and_sits_on_the_ambient() -> None:
    rise = fit_rise(curve(settles_c=45, starts_c=25, time_constant_s=200))
    summer = {"ambient_c": 22.0, "planned_ambient_c": 32.0}

    proportional = scale(rise, test_load_w=100, planned_load_w=150, law="proportional", **summer)
    squared = scale(rise, test_load_w=100, planned_load_w=150, law="squared", **summer)
    cautious = scale(rise, test_load_w=100, planned_load_w=150, **summer)

    assert proportional.settles_c == pytest.approx(35 + 1.5 * 20, abs=0.5)
    assert squared.settles_c == pytest.approx(35 + 2.25 * 20, abs=0.5)
    assert cautious.settles_c == squared.settles_c
    assert "32 °C instead of 22 °C" in cautious.assumption
    assert "150 W for 100 W" in cautious.assumption
    assert cautious.high_c - cautious.low_c == pytest.approx(2.25 * (rise.high_c - rise.low_c))


def test_scaling_down_the_cautious_law_is_the_proportional_one() -> None:
    rise = fit_rise(curve(settles_c=65, starts_c=25, time_constant_s=200))

    scaled = scale(rise, test_load_w=100, planned_load_w=50)

    assert scaled.factor == 0.5
    assert "the ambient is as today" in scaled.assumption
    assert decide(scaled, 50) == "below"


def test_half_of_a_pair_is_refused() -> None:
    rise = fit_rise(curve(settles_c=65, starts_c=25, time_constant_s=200))

    with pytest.raises(ValueError, match="both the test load and the planned load"):
        scale(rise, test_load_w=100)
    with pytest.raises(ValueError, match="both today's ambient and the planned one"):
        scale(rise, planned_ambient_c=35)
    with pytest.raises(ValueError, match="above zero"):
        scale(rise, test_load_w=0, planned_load_w=50)


def test_ten_amperes_through_five_milliohms_are_half_a_watt() -> None:
    assert contact_loss_w(10, 0.005) == pytest.approx(0.5)
    assert settling_c(25, 1.5, 20) == 55


def curve(*, settles_c: float, starts_c: float, time_constant_s: float) -> Samples:
    return [
        (5.0 * at, temperature_c(5.0 * at, starts_c=starts_c, settles_c=settles_c, time_constant_s=time_constant_s))
        for at in range(145)
    ]


def load_doubled_at_4_minutes() -> Changed:
    first = TrueRise(settles_c=45, starts_c=22, time_constant_s=300, noise_k=0.2)
    then = TrueRise(settles_c=68, starts_c=first.at(240), time_constant_s=300, noise_k=0.2)
    return Changed(first=first, then=then, after_s=240)


def _decisions(departing: Callable[[random.Random], Warming], *, minutes: float) -> tuple[float, float]:
    """The shares of wrong decisions and of decisions, of all that are asked for at limits near to where it settles."""
    numbers = random.Random(f"{SEED} {departing.__name__} {minutes}")
    wrong = decided = 0
    for _ in range(DEPARTING):
        true = departing(numbers)
        rise = fit_rise(sampled(true, numbers, every_s=(5, 5), minutes=minutes))
        for distance in FROM_LIMIT_K:
            decision = decide(rise, true.settles_c + distance)
            decided += decision != "needs more time"
            wrong += decision == ("above" if distance > 0 else "below")
    asked = DEPARTING * len(FROM_LIMIT_K)
    return wrong / asked, decided / asked
