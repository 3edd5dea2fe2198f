"""A first-order lag through samples that a sensor has rounded: where it settles, and how sure that is.

For one time constant the best curve has a closed form, a straight line in exp(-t / tau). So a grid of time constants is
gone through, each weighed by how well its best curve fits (variable projection, with weak priors), and every stated
interval is that of all of them together.

A sensor that rounds errs the same way for as long as the temperature stays within one step: many readings are not many
facts then. The error goes with sin(2 pi T / step) along the curve (Widrow's theory of quantisation). How far such a
wave of unknown phase would move the answer is added to its width; at least as far as one and the same error of all the
last readings would, where they lie within half a step of the end.

All of this believes that it is one lag. Where load, cooling or sensor make it another curve, slow bends are left that
no lag follows; how likely noise leaves such bends is told with the fit (`bends`).

What belongs here: the arithmetic. What does not: limits, loads and decisions (`heat`).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import mul

from pattress.circuit.bends import bends_chance
from pattress.circuit.student import rounding_variance, student_share

SHORTEST_S, LONGEST_S = 30.0, 3600.0  # common practice: from a bare board in free air to a deep box in masonry
COARSE_POINTS, FINE_POINTS = 28, 32
REFINEMENTS = 3
NEGLIGIBLE = 9.0  # exp(-9): a time constant as much less likely than the best is left out
MOST_POINTS = 160  # more samples are averaged in groups; a phone may ask each second for an hour
USUAL_RISE_K, USUAL_SPREAD_K = 45.0, 45.0  # weak: a load warms a box by a few kelvin, up to about a hundred
USUAL_TAU_S, USUAL_TAU_SPREAD = 600.0, 0.8  # weak: nine in ten between about 2.5 and 40 minutes (common practice)
USUAL_NOISE_K, NOISE_WEIGHT = 0.3, 3.0  # a sensor's noise before any was seen, and how many samples that is worth
STEPS_K = (2.0, 1.0, 0.5, 0.25, 0.2, 0.125, 0.1, 0.0625, 0.05, 0.02, 0.01)
RECURRING_SHARE = 0.8  # fewer different readings than this, by all, are no chance
FINEST_STEP_K = 0.02  # rounding finer than this is noise like any other


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """A fitted lag; temperatures in degrees Celsius. `low` to `high` holds with 90 %, `surely` with 99 %.

    `noise_k` is the scatter around the curve, rounding included. `one_lag_chance` is how likely noise alone leaves
    bends as large as are left: next to 0 where it is no single lag.
    """

    settles_c: float
    low_c: float
    high_c: float
    surely_low_c: float
    surely_high_c: float
    starts_c: float
    time_constant_s: float
    tau_low_s: float
    tau_high_s: float
    noise_k: float
    one_lag_chance: float


@dataclass(frozen=True, slots=True)
class _Try:
    """The best curve for one time constant: Student's t about `settles` of width `width`, and its weight."""

    log_tau: float
    log_weight: float
    settles: float
    width: float
    swing: float  # of exp(-t / tau): T0 - Ts
    residual: float


def fitted(samples: Sequence[tuple[float, float]], step_k: float) -> Lag:
    """Return the lag that fits the samples (seconds, degrees Celsius), which a sensor rounded to `step_k` kelvin."""
    seconds, celsius, group_size = _grouped(samples)
    middle_c = sum(celsius) / len(celsius)
    centred = [value - middle_c for value in celsius]
    problem = _Problem(seconds, centred, step_k, group_size)
    coarse = _tries(problem, _spread(math.log(SHORTEST_S), math.log(LONGEST_S), COARSE_POINTS))
    if step_k > FINEST_STEP_K:
        problem.size_rounding(max(coarse, key=lambda one: one.log_weight))
    tries = _around_the_best(problem, coarse)
    weights = _weights(tries)
    best = max(tries, key=lambda one: one.log_weight)

    def settles_at(share: float) -> float:
        return middle_c + _quantile(tries, weights, problem.freedom, share)

    def tau_at(share: float) -> float:
        return _tau_quantile(tries, weights, share)

    starts = sum(weight * (one.settles + one.swing) for one, weight in zip(tries, weights, strict=True))
    return Lag(
        settles_c=settles_at(0.5),
        low_c=settles_at(0.05),
        high_c=settles_at(0.95),
        surely_low_c=settles_at(0.005),
        surely_high_c=settles_at(0.995),
        starts_c=middle_c + starts,
        time_constant_s=tau_at(0.5),
        tau_low_s=tau_at(0.05),
        tau_high_s=tau_at(0.95),
        noise_k=math.sqrt(best.residual / len(centred)),
        one_lag_chance=problem.one_lag_chance(best),
    )


def found_step_k(celsius: Sequence[float]) -> float:
    """Return the step in which a sensor counts, in kelvin; 0 where none is to be seen.

    That is the coarsest usual one that all readings are multiples of. Where readings recur, it is at least the smallest
    difference between two: a sensor that counts in degrees Fahrenheit has no round step in kelvin.
    """
    usual = next((step for step in STEPS_K if _are_multiples(celsius, step)), 0.0)
    different = sorted(set(celsius))
    if len(different) > RECURRING_SHARE * len(celsius) or len(different) < 2:
        return usual
    return max(usual, min(later - earlier for earlier, later in pairwise(different)))


def _are_multiples(celsius: Sequence[float], step_k: float) -> bool:
    return all(abs(value / step_k - round(value / step_k)) < 0.01 for value in celsius)


def _grouped(samples: Sequence[tuple[float, float]]) -> tuple[list[float], list[float], int]:
    size = -(-len(samples) // MOST_POINTS)
    groups = [samples[at : at + size] for at in range(0, len(samples) - size + 1, size)]
    first_s = samples[0][0]
    return (
        [sum(seconds for seconds, _ in group) / size - first_s for group in groups],
        [sum(celsius for _, celsius in group) / size for group in groups],
        size,
    )


class _Problem:
    """Least squares in the columns exp(-t / tau) and 1, with weak priors on swing and noise."""

    def __init__(self, seconds: list[float], celsius: list[float], step_k: float, group_size: int) -> None:
        self.seconds, self.celsius, self.step_k = seconds, celsius, step_k
        self.count = len(celsius)
        self.sum = sum(celsius)
        self.square = _product(celsius, celsius)
        usual_noise_square = (USUAL_NOISE_K**2 + step_k**2 / 12) / group_size
        self.freedom = self.count - 1 + NOISE_WEIGHT
        self.noise_square = NOISE_WEIGHT * usual_noise_square
        self.swing_penalty = usual_noise_square / USUAL_SPREAD_K**2
        self.waves: list[list[float]] = []
        self.wave_sums: list[float] = []
        self.wave_square = 0.0

    def size_rounding(self, best: _Try) -> None:
        """Take in the error that rounding leaves, with its size and its phase by the curve that fits best."""
        variance = best.residual / (self.count - 3)
        # Of groups of samples this is less than the noise of one, which errs to the safe side.
        likely_low = variance * (1 - math.sqrt(2 / self.count))  # less noise is the less favourable case
        noise_k = math.sqrt(max(likely_low - self.step_k**2 / 12, 0.0))
        self.wave_square = rounding_variance(self.step_k, noise_k)
        rate = -math.exp(-best.log_tau)
        turn = 2 * math.pi / self.step_k
        phases = [turn * (best.settles + best.swing * math.exp(at * rate)) for at in self.seconds]
        self.waves = [[math.sin(phase) for phase in phases], [math.cos(phase) for phase in phases]]
        self.wave_sums = [sum(wave) for wave in self.waves]

    def at(self, log_tau: float) -> _Try:
        """Return the best curve for one time constant."""
        rate = -math.exp(-log_tau)
        decay = [math.exp(at * rate) for at in self.seconds]
        one_decay = sum(decay)
        decay_decay = _product(decay, decay) + self.swing_penalty
        decay_target = _product(decay, self.celsius) - self.swing_penalty * USUAL_RISE_K
        determinant = decay_decay * self.count - one_decay * one_decay
        settles = (decay_decay * self.sum - one_decay * decay_target) / determinant
        swing = (self.count * decay_target - one_decay * self.sum) / determinant
        explained = settles * self.sum + swing * decay_target
        residual = max(self.square + self.swing_penalty * USUAL_RISE_K**2 - explained, 0.0)
        whole = residual + self.noise_square
        variance = whole / self.freedom * decay_decay / determinant

        def pull(share: float, share_decay: float) -> float:
            """By how much it settles higher where a column is added to the samples, given its sums."""
            return (decay_decay * share - one_decay * share_decay) / determinant

        if self.wave_square:
            waved = sum(
                pull(wave_sum, _product(decay, wave)) ** 2
                for wave, wave_sum in zip(self.waves, self.wave_sums, strict=True)
            )
            last = [one for one in decay if abs(swing) * one < self.step_k / 2]  # these are all rounded alike
            variance += self.wave_square * max(waved, pull(len(last), sum(last)) ** 2)
        away = (log_tau - math.log(USUAL_TAU_S)) / USUAL_TAU_SPREAD
        return _Try(
            log_tau=log_tau,
            log_weight=-0.5 * (math.log(determinant) + self.freedom * math.log(whole) + away * away),
            settles=settles,
            width=math.sqrt(variance),
            swing=swing,
            residual=residual,
        )

    def one_lag_chance(self, best: _Try) -> float:
        """Return how likely noise alone leaves bends as large as the best curve leaves."""
        turns = [at * math.exp(-best.log_tau) for at in self.seconds]
        decay = [math.exp(-turn) for turn in turns]
        return bends_chance(
            self.seconds,
            [value - best.settles - best.swing * one for value, one in zip(self.celsius, decay, strict=True)],
            [[1.0] * self.count, decay, [turn * one for turn, one in zip(turns, decay, strict=True)]],
            noise_square=self.noise_square,
            noise_weight=NOISE_WEIGHT,
            waves=self.waves,
            wave_square=self.wave_square,
        )


def _product(one: list[float], other: list[float]) -> float:
    return float(sum(map(mul, one, other)))


def _spread(low: float, high: float, points: int) -> list[float]:
    return [low + (high - low) * at / (points - 1) for at in range(points)]


def _tries(problem: _Problem, log_taus: Sequence[float]) -> list[_Try]:
    return [problem.at(log_tau) for log_tau in log_taus]


def _around_the_best(problem: _Problem, tries: list[_Try]) -> list[_Try]:
    """Return tries on a grid that covers all likely time constants and is fine enough for them."""
    for _ in range(REFINEMENTS):
        least = max(one.log_weight for one in tries) - NEGLIGIBLE
        likely = [at for at, one in enumerate(tries) if one.log_weight >= least]
        low = tries[max(likely[0] - 1, 0)].log_tau
        high = tries[min(likely[-1] + 1, len(tries) - 1)].log_tau
        tries = _tries(problem, _spread(low, high, FINE_POINTS))
        if len(likely) > FINE_POINTS // 4:
            break
    return tries


def _weights(tries: Sequence[_Try]) -> list[float]:
    highest = max(one.log_weight for one in tries)
    raw = [math.exp(one.log_weight - highest) for one in tries]
    whole = sum(raw)
    return [one / whole for one in raw]


def _quantile(tries: Sequence[_Try], weights: Sequence[float], freedom: float, share: float) -> float:
    likely = [(one, weight) for one, weight in zip(tries, weights, strict=True) if weight > 1e-6]
    low = min(one.settles - 8 * one.width for one, _ in likely)
    high = max(one.settles + 8 * one.width for one, _ in likely)
    return _crossing(
        lambda value: sum(weight * student_share((value - one.settles) / one.width, freedom) for one, weight in likely),
        share, low, high,
    )  # fmt: skip


def _crossing(rising: Callable[[float], float], target: float, low: float, high: float) -> float:
    while high - low > 0.002:
        middle = (low + high) / 2
        if rising(middle) < target:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _tau_quantile(tries: Sequence[_Try], weights: Sequence[float], share: float) -> float:
    reached = 0.0
    for at, weight in enumerate(weights):
        if reached + weight >= share:
            before = tries[max(at - 1, 0)].log_tau
            part = (share - reached) / weight
            return math.exp(before + part * (tries[at].log_tau - before))
        reached += weight
    return math.exp(tries[-1].log_tau)
