"""Whether what a fitted curve leaves of the samples is noise, or bends that the curve cannot follow.

What belongs here: this test. What does not: the curve (`lag`), and what follows from its being the wrong one (`heat`).
"""

import math
from collections.abc import Sequence
from operator import mul

ORDERS = (3, 4)  # level, slope and curvature are what a lag follows; the next two are the slowest that it cannot
LEFT_OVER = 1e-6  # a column of which less is left has nothing to say of its own


def bends_chance(
    seconds: Sequence[float],
    left: Sequence[float],
    columns: Sequence[Sequence[float]],
    *,
    noise_square: float,
    noise_weight: float,
    waves: Sequence[Sequence[float]] = (),
    wave_square: float = 0.0,
) -> float:
    """Return how likely noise alone leaves slow bends as large as those that are left: next to 0 where it is no noise.

    An F test of two more columns, the Chebyshev polynomials of order 3 and 4 over the time watched, at right angles to
    what the curve can follow. Of n samples and p columns, 2 for the bends, S is what the bends explain of the squares
    and R the rest; with d = n - p - 2 + w degrees of freedom the chance is (R / (R + S))^(d / 2).

    Args:
        seconds: When each sample was taken, in the order of time.
        left: By how much each sample lies above the curve, in kelvin.
        columns: How the curve moves with each of its parameters, at each sample.
        noise_square: What is added to the rest for what is known of the noise beforehand, in kelvin squared.
        noise_weight: How many samples that is worth (w).
        waves: Two waves of unknown phase that rounding adds to the samples, at right angles, amplitude 1.
        wave_square: The variance of such a wave, in kelvin squared. A bend may be as much as such a wave at its worst
            phase and count for nothing.

    Valid for white noise of one size. Source: Abramowitz and Stegun 26.6.4, with two degrees of freedom above.
    """
    followed = _at_right_angles([], columns)
    for one in followed:
        left = _without(left, one)
    middle_s, half_s = (seconds[0] + seconds[-1]) / 2, (seconds[-1] - seconds[0]) / 2
    angles = [math.acos(max(-1.0, min(1.0, (at - middle_s) / half_s))) for at in seconds]
    bends = _at_right_angles(followed, [[math.cos(order * angle) for angle in angles] for order in ORDERS])
    whole = _product(left, left)
    freedom = len(left) - len(columns) - len(ORDERS) + noise_weight
    variance = (whole + noise_square) / (freedom + len(ORDERS))
    explained = bent = 0.0
    for bend in bends:
        square = _product(bend, left) ** 2
        explained += square
        rounded = 2 * wave_square * sum(_product(bend, wave) ** 2 for wave in waves)
        bent += square / (1 + rounded / variance)
    rest = max(whole - explained, 0.0) + noise_square
    return float((rest / (rest + bent)) ** (freedom / 2))


def _at_right_angles(former: Sequence[list[float]], columns: Sequence[Sequence[float]]) -> list[list[float]]:
    """Return the columns at right angles to the former ones and to each other, of length 1 (Gram and Schmidt)."""
    found: list[list[float]] = []
    for column in columns:
        rest = column
        for _ in range(2):  # once more for what rounding of floats leaves
            for one in (*former, *found):
                rest = _without(rest, one)
        size, was = _product(rest, rest), _product(column, column)
        if size > LEFT_OVER**2 * was:
            found.append([value / math.sqrt(size) for value in rest])
    return found


def _without(column: Sequence[float], direction: Sequence[float]) -> list[float]:
    share = _product(column, direction)
    return [value - share * along for value, along in zip(column, direction, strict=True)]


def _product(one: Sequence[float], other: Sequence[float]) -> float:
    return float(sum(map(mul, one, other)))
