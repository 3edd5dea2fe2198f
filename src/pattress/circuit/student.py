"""Student's t and what rounding does to a mean, without a library.

What belongs here: what more than one fit needs of statistics. What does not: fits.
"""

import math
from statistics import NormalDist

HARMONICS = 20  # leaves out 3 % of the whole where there is no noise at all
_NORMAL = NormalDist()


def student_quantile(share: float, freedom: float) -> float:
    """Return the quantile of Student's t; exact for 1 and 2 degrees of freedom, else near it.

    Within 2 % at 3 degrees of freedom and 0.5 % from 4 on, for shares of 0.025 to 0.975; between 1, 2 and 3 the lower
    one counts, which errs to the safe side. Source: Abramowitz and Stegun 26.7.5 (expansion about the normal).
    """
    if freedom < 1:
        raise ValueError("Student's t needs at least one degree of freedom")
    if freedom < 2:
        return math.tan(math.pi * (share - 0.5))
    if freedom < 3:
        return (2 * share - 1) / math.sqrt(2 * share * (1 - share))
    z = _NORMAL.inv_cdf(share)
    terms = (
        z,
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return sum(term / freedom**power for power, term in enumerate(terms))


def student_share(value: float, freedom: float) -> float:
    """Return the distribution function of Student's t, approximately.

    Source: Abramowitz and Stegun 26.7.8; within 0.003 from 8 degrees of freedom on.
    """
    normal = value * (1 - 1 / (4 * freedom)) / math.sqrt(1 + value * value / (2 * freedom))
    return 0.5 * math.erfc(-normal / math.sqrt(2))


def rounding_variance(step: float, noise: float) -> float:
    """Return the variance of the error that rounding leaves in the mean of very many readings.

    In the unit of `step`, squared. Readings of one and the same value are all rounded the same way unless noise spreads
    them over steps: the error is a sum of waves sin(2 pi k x / step) of amplitude (step / pi k) exp(-2 (pi k noise /
    step)^2). Without noise this is step^2 / 12; noise of half a step leaves next to nothing. Valid for a value that may
    be anywhere within a step. Source: derived, by Widrow's theory of quantisation.
    """
    if step <= 0:
        return 0.0
    if noise <= 0:
        return step * step / 12
    spread = math.exp(-4 * (math.pi * noise / step) ** 2)
    return sum((step / (math.pi * order)) ** 2 * spread ** (order * order) / 2 for order in range(1, HARMONICS + 1))
