"""Rises of temperature fitted, beside `scipy.optimize.curve_fit` on the same samples."""

import math
import random
import statistics
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import OptimizeWarning, curve_fit

from benchmarks.measured import Benchmark, Measured, Size
from pattress.circuit.heat import fit_rise

SEED = 20261125
MINUTES, STEP_K = 8, 1.0
SPACINGS_S = {"each 5 s": (5.0, 5.0), "each 15 to 30 s": (15.0, 30.0)}
FIT_MS_AT_MOST = 10.0  # so that a small ARM board needs less than a tenth of a second
CREDIBLE_C = (0.0, 200.0)  # what curve_fit is kept within where it is kept within anything

Samples = list[tuple[float, float]]
Guess = tuple[float, float, float]  # settles, the lower and the upper end of its 90 % interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """How a way to fit did over all rises."""

    rms_k: float
    median_k: float
    held_share: float
    far_off: int
    fit_ms: float


def measure(size: Size) -> Benchmark:
    """Fit the same simulated rises by each way; time each fit by the processor time of this process."""
    count = size.of(full=1000, tiny=5)
    figures: list[Measured] = []
    notes: list[str] = []
    for spacing, every_s in SPACINGS_S.items():
        numbers = random.Random(f"{SEED} {spacing}")
        rises = [_simulated(numbers, every_s) for _ in range(count)]
        ours, free, bounded = (_over(rises, way) for way in (_ours, _curve_fit, _bounded_curve_fit))
        for beside, theirs in (("curve_fit in bounds", bounded), ("curve_fit", free)):
            figures.append(
                Measured(what=f"{spacing}: root mean square error of settling", unit="K",
                         ours=ours.rms_k, reference=theirs.rms_k, beside=beside)
            )  # fmt: skip
        figures += [
            Measured(what=f"{spacing}: median error of settling", unit="K",
                     ours=ours.median_k, reference=bounded.median_k, beside="curve_fit in bounds"),
            Measured(what=f"{spacing}: time of a fit", unit="ms", ours=ours.fit_ms, reference=bounded.fit_ms,
                     beside="curve_fit in bounds", ours_at_most=FIT_MS_AT_MOST),
            Measured(what=f"{spacing}: time of a fit", unit="ms", ours=ours.fit_ms, reference=free.fit_ms,
                     beside="curve_fit"),
        ]  # fmt: skip
        notes.append(
            f"{spacing}: the truth lies in the stated 90 % interval of ours in {ours.held_share:.1%}, of curve_fit in"
            f" bounds in {bounded.held_share:.1%}, of curve_fit in {free.held_share:.1%} of {count} rises; more than"
            f" 50 K off or failed: {ours.far_off}, {bounded.far_off}, {free.far_off}"
        )
    title = f"heat: settling temperature from {MINUTES} minutes of readings in steps of {STEP_K:g} K, seed {SEED}"
    return Benchmark(title=title, figures=figures, notes=notes)


def _simulated(numbers: random.Random, every_s: tuple[float, float]) -> tuple[float, Samples]:
    settles_c, starts_c = numbers.uniform(35, 110), numbers.uniform(15, 30)
    tau_s, noise_k = 60 * numbers.uniform(2, 25), numbers.uniform(0.1, 0.5)
    samples: Samples = []
    now_s = 0.0
    while now_s <= 60 * MINUTES:
        celsius = settles_c - (settles_c - starts_c) * math.exp(-now_s / tau_s) + numbers.gauss(0, noise_k)
        samples.append((now_s, round(celsius / STEP_K) * STEP_K))
        now_s += numbers.uniform(*every_s)
    return settles_c, samples


def _over(rises: list[tuple[float, Samples]], way: Callable[[Samples], Guess | None]) -> Fitted:
    started_s = time.process_time()
    guesses = [way(samples) for _, samples in rises]
    fit_ms = (time.process_time() - started_s) * 1000 / len(rises)
    # A fit that gave nothing counts as one that says "as it is at the last sample".
    errors = [
        abs((samples[-1][1] if guess is None else guess[0]) - true_c)
        for (true_c, samples), guess in zip(rises, guesses, strict=True)
    ]
    held = [
        guess is not None and guess[1] <= true_c <= guess[2] for (true_c, _), guess in zip(rises, guesses, strict=True)
    ]
    return Fitted(
        rms_k=math.sqrt(statistics.fmean(error * error for error in errors)),
        median_k=statistics.median(errors),
        held_share=sum(held) / len(held),
        far_off=sum(guess is None or error > 50 for guess, error in zip(guesses, errors, strict=True)),
        fit_ms=fit_ms,
    )


def _ours(samples: Samples) -> Guess:
    rise = fit_rise(samples)
    return rise.settles_c, rise.low_c, rise.high_c


def _curve_fit(samples: Samples) -> Guess | None:
    return _by_scipy(samples, (-np.inf, np.inf))


def _bounded_curve_fit(samples: Samples) -> Guess | None:
    low, high = CREDIBLE_C
    return _by_scipy(samples, ((low, low, 30.0), (high, high, 3600.0)))


def _by_scipy(samples: Samples, bounds: tuple[object, object]) -> Guess | None:
    seconds, celsius = np.array(samples).T
    first_guess = (celsius[-1] + 10, celsius[0], 600.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OptimizeWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            best, covariance = curve_fit(_model, seconds, celsius, p0=first_guess, bounds=bounds)
        except RuntimeError:  # no end within its count of tries
            return None
    reach = 1.645 * float(covariance[0, 0]) ** 0.5
    return float(best[0]), float(best[0]) - reach, float(best[0]) + reach


def _model(seconds: np.ndarray, settles: float, starts: float, tau: float) -> np.ndarray:
    return settles - (settles - starts) * np.exp(-seconds / tau)
