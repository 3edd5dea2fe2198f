"""A first-order lag through samples that a sensor has rounded: where it settles, and how sure that is.

For one time constant the best curve has a closed form, a straight line in exp(-t / tau). So a grid of time constants is
gone through, each weighed by how well its best curve fits (variable projection, with weak priors), and every stated
interval is that of all of them together.

A sensor that rounds errs the same way for as long as the temperature stays within one step: many readings are not many
facts then. To a first order the error goes with sin(2 pi T / step), by (step / pi) exp(-2 (pi s / step)^2) under noise
s (Widrow's theory of quantisation). Its phase counts as unknown here, which makes two unknowns more of known size.

What belongs here: the arithmetic. What does not: limits, loads and decisions (`heat`).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import mul

from pattress.circuit.student import rounding_variance, student_share

SHORTEST_S, LONGEST_S = 30.0, 3600.0  # common practice: from a bare board in free air to a deep box in masonry
COARSE_POINTS, FINE_POINTS = 28, 32
REFINEMENTS = 3
NEGLIGIBLE = 9.0  # exp(-9): a time constant as much less likely than the best is left out
MOST_POINTS = 160  # more samples are averaged in groups; a phone may ask each second for an hour
USUAL_RISE_K, USUAL_SPREAD_K = 45.0, 45.0  # weak: a load warms a box by a few kelvin, up to about a hundred
USUAL_NOISE_K, NOISE_WEIGHT = 0.2, 2.0  # a sensor's noise before any was seen, and how many samples that is worth
STEPS_K = (2.0, 1.0, 0.5, 0.25, 0.2, 0.125, 0.1, 0.0625, 0.05, 0.02, 0.01)
FINEST_STEP_K = 0.02  # rounding finer than this is noise like any other


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """A fitted lag; temperatures in degrees Celsius. `low` to `high` holds with 90 %, `surely` with 99 %."""

    settles_c: float
    low_c: float
    high_c: float
    surely_low_c: float
    surely_high_c: float
    starts_c: float
    tau_s: float
    tau_low_s: float
    tau_high_s: float
    noise_k: float


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
    seconds, celsius = _grouped(samples)
    middle_c = sum(celsius) / len(celsius)
    centred = [value - middle_c for value in celsius]
    plain = _Problem(seconds, centred, step_k)
    problem = plain.with_rounding() if step_k > FINEST_STEP_K else plain
    tries = _around_the_best(problem)
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
        tau_s=tau_at(0.5),
        tau_low_s=tau_at(0.05),
        tau_high_s=tau_at(0.95),
        noise_k=math.sqrt(best.residual / len(centred)),
    )


def found_step_k(celsius: Sequence[float]) -> float:
    """Return the coarsest usual step, in kelvin, that all readings are multiples of; 0 where they are of none."""
    for step in STEPS_K:
        if all(abs(value / step - round(value / step)) < 0.01 for value in celsius):
            return step
    return 0.0


def _grouped(samples: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    size = -(-len(samples) // MOST_POINTS)
    groups = [samples[at : at + size] for at in range(0, len(samples) - size + 1, size)]
    first_s = samples[0][0]
    return (
        [sum(seconds for seconds, _ in group) / size - first_s for group in groups],
        [sum(celsius for _, celsius in group) / size for group in groups],
    )


class _Problem:
    """Least squares in the columns sin, cos, exp(-t / tau), 1 with weak priors on all but the last."""

    def __init__(self, seconds: list[float], celsius: list[float], step_k: float) -> None:
        self.seconds, self.celsius, self.step_k = seconds, celsius, step_k
        self.count = len(celsius)
        self.freedom = self.count - 1 + NOISE_WEIGHT
        self.prior_square = NOISE_WEIGHT * (USUAL_NOISE_K**2 + step_k**2 / 12)
        self.waves: list[list[float]] = []
        self.wave_penalty = 0.0
        self.swing_penalty = (USUAL_NOISE_K**2 + step_k**2 / 12) / USUAL_SPREAD_K**2
        self._prepare()

    def with_rounding(self) -> "_Problem":
        """Return the same problem with the error of rounding in it, sized by a first fit without."""
        best = max(_tries(self, _spread(math.log(SHORTEST_S), math.log(LONGEST_S), COARSE_POINTS)), key=_log_weight)
        rate = math.exp(-best.log_tau)
        phases = [2 * math.pi / self.step_k * (best.settles + best.swing * math.exp(-at * rate)) for at in self.seconds]
        variance = best.residual / max(self.count - 3, 1)
        likely_low = variance * (1 - math.sqrt(2 / self.count))
        noise_square = max(likely_low - self.step_k**2 / 12, 0.0)
        wave_square = rounding_variance(self.step_k, math.sqrt(noise_square))
        if wave_square < 1e-4 * variance:
            return self  # noise enough to make rounding harmless
        white_square = max(variance - wave_square, self.step_k**2 / 12 * 0.25)
        problem = _Problem(self.seconds, self.celsius, self.step_k)
        problem.waves = [[math.sin(phase) for phase in phases], [math.cos(phase) for phase in phases]]
        problem.wave_penalty = white_square / wave_square
        problem.swing_penalty = white_square / USUAL_SPREAD_K**2
        problem._prepare()
        return problem

    def _prepare(self) -> None:
        self.square = sum(map(mul, self.celsius, self.celsius))
        self.sum = sum(self.celsius)
        self.wave_sums = [sum(wave) for wave in self.waves]
        self.wave_products = [[sum(map(mul, one, other)) for other in self.waves] for one in self.waves]
        self.wave_targets = [sum(map(mul, wave, self.celsius)) for wave in self.waves]

    def at(self, log_tau: float) -> _Try:
        """Return the best curve for one time constant."""
        rate = -math.exp(-log_tau)
        decay = [math.exp(at * rate) for at in self.seconds]
        crossed = [sum(map(mul, wave, decay)) for wave in self.waves]
        rows = [[*products[: at + 1]] for at, products in enumerate(self.wave_products)]
        for at, row in enumerate(rows):
            row[at] += self.wave_penalty
        decayed = sum(decay)
        rows.append([*crossed, sum(map(mul, decay, decay)) + self.swing_penalty])
        rows.append([*self.wave_sums, decayed, float(self.count)])
        usual = -USUAL_RISE_K * self.swing_penalty
        targets = [*self.wave_targets, sum(map(mul, decay, self.celsius)) + usual, self.sum]
        log_root, last, reduced, solution = _solved(rows, targets)
        residual = self.square + self.swing_penalty * USUAL_RISE_K**2 - reduced
        residual = max(residual, 0.0)
        whole = residual + self.prior_square
        return _Try(
            log_tau=log_tau,
            log_weight=-log_root - 0.5 * self.freedom * math.log(whole),
            settles=solution[-1],
            width=math.sqrt(whole / self.freedom) / last,
            swing=solution[-2],
            residual=residual,
        )


def _solved(rows: list[list[float]], targets: list[float]) -> tuple[float, float, float, list[float]]:
    """Solve by Cholesky's method; rows hold the lower triangle.

    Returns half the logarithm of the determinant, the last pivot's root, the square explained, and the solution.
    """
    size = len(rows)
    log_root = explained = 0.0
    forward: list[float] = []
    for at, row in enumerate(rows):
        for column in range(at):
            other = rows[column]
            row[column] = (row[column] - sum(map(mul, row[:column], other[:column]))) / other[column]
        pivot = math.sqrt(max(row[at] - sum(map(mul, row[:at], row[:at])), 1e-12))
        row[at] = pivot
        log_root += math.log(pivot)
        forward.append((targets[at] - sum(map(mul, row[:at], forward))) / pivot)
        explained += forward[at] ** 2
    solution = [0.0] * size
    for at in range(size - 1, -1, -1):
        rest = sum(rows[below][at] * solution[below] for below in range(at + 1, size))
        solution[at] = (forward[at] - rest) / rows[at][at]
    return log_root, rows[-1][-1], explained, solution


def _log_weight(one: _Try) -> float:
    return one.log_weight


def _spread(low: float, high: float, points: int) -> list[float]:
    return [low + (high - low) * at / (points - 1) for at in range(points)]


def _tries(problem: _Problem, log_taus: Sequence[float]) -> list[_Try]:
    return [problem.at(log_tau) for log_tau in log_taus]


def _around_the_best(problem: _Problem) -> list[_Try]:
    """Return tries on a grid that covers all likely time constants and is fine enough for them."""
    tries = _tries(problem, _spread(math.log(SHORTEST_S), math.log(LONGEST_S), COARSE_POINTS))
    for _ in range(REFINEMENTS):
        least = max(one.log_weight for one in tries) - NEGLIGIBLE
        likely = [at for at, one in enumerate(tries) if one.log_weight >= least]
        if len(likely) > FINE_POINTS // 2:
            break
        low = tries[max(likely[0] - 1, 0)].log_tau
        high = tries[min(likely[-1] + 1, len(tries) - 1)].log_tau
        tries = _tries(problem, _spread(low, high, FINE_POINTS))
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
