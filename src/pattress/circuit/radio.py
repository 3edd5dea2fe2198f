"""Whether a module stays reachable behind its plate: from samples of its received signal strength, plate off and on.

What belongs here: the level with its uncertainty, what the plate takes, the verdict, path loss. What does not: reading
the samples.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from pattress.circuit.student import rounding_variance, student_quantile

MINIMUM_DBM = -70.0  # common practice: the least that is called reliable
MARGIN_DB = 3.0  # common practice: a closed door or a person in the way takes about as much
RETRIES_AT_MOST = 0.2  # common practice
LOSSES_AT_MOST = 0.02  # common practice
FEWEST_SAMPLES = 6  # below, the spread is not known well enough for any interval
STEP_DB = 1.0  # in which nearly all modules report
CREDIBLE_DBM = (-119.0, -1.0)  # what lies outside stands for "not known": 0, or the end of a register
MOST_CORRELATED = 0.95  # of neighbouring samples; more cannot be told from few of them
SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
ONE_SIDED = 0.95  # an interval that holds with 90 % is missed with 5 % on either side


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A received level. The mean lies between `low_dbm` and `high_dbm` with 90 %.

    `effective` is how many independent samples the given ones are worth; `unusable` how many were left out;
    `error_db` the standard error of the mean.
    """

    mean_dbm: float
    spread_db: float
    error_db: float
    low_dbm: float
    high_dbm: float
    samples: int
    effective: float
    unusable: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateLoss:
    """What the plate takes, in dB; it lies between `low_db` and `high_db` with 90 %."""

    loss_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RadioVerdict:
    """Whether the signal is enough, and in words why and how sure.

    `margin_db` is how far the mean with the plate on lies above the minimum.
    """

    outcome: Literal["met", "broken", "unverified"]
    sentence: str
    margin_db: float | None = None
    on: Level | None = None
    off: Level | None = None
    plate: PlateLoss | None = None


def level(samples_dbm: Sequence[float], *, step_db: float = STEP_DB) -> Level | None:
    """Return the mean level of samples, with its uncertainty; None where too few of them can be used.

    Args:
        samples_dbm: In dBm, in the order in which they were taken, at about even times.
        step_db: The step in which they are counted.

    Neighbouring samples resemble one another (the same reflections, or the same value told twice), so they are worth
    fewer: n (1 - r) / (1 + r) for a first-order autocorrelation r, corrected for its bias in short series. Readings
    that never leave one step say no more than that step. Source: Student's t; effective number of a first-order
    autoregressive series (standard result); rounding as in `student.rounding_variance`.
    """
    lowest, highest = CREDIBLE_DBM
    usable = [value for value in samples_dbm if lowest <= value <= highest]
    if len(usable) < FEWEST_SAMPLES:
        return None
    mean = sum(usable) / len(usable)
    effective = _effective_number(usable, mean)
    square = sum((value - mean) ** 2 for value in usable) / (len(usable) * (1 - 1 / effective))
    noise = math.sqrt(max(square - step_db**2 / 12, 0.0))
    error = math.sqrt(square / effective + rounding_variance(step_db, noise))
    reach = student_quantile(ONE_SIDED, effective - 1) * error
    return Level(
        mean_dbm=mean,
        spread_db=math.sqrt(square),
        error_db=error,
        low_dbm=mean - reach,
        high_dbm=mean + reach,
        samples=len(usable),
        effective=effective,
        unusable=len(samples_dbm) - len(usable),
    )


def plate_loss(off: Level, on: Level) -> PlateLoss:
    """Return what the plate takes: the level without it less the level with it.

    Source: Welch's interval of a difference of two means (Satterthwaite's degrees of freedom).
    """
    squares = [(one.error_db**2, one.effective - 1) for one in (off, on)]
    whole = sum(square for square, _ in squares)
    shares = sum(square**2 / freedom for square, freedom in squares)
    reach = student_quantile(ONE_SIDED, whole**2 / shares) * math.sqrt(whole) if whole > 0 else 0.0
    loss = off.mean_dbm - on.mean_dbm
    return PlateLoss(loss_db=loss, low_db=loss - reach, high_db=loss + reach)


def judge_radio(
    on_dbm: Sequence[float],
    off_dbm: Sequence[float] = (),
    *,
    minimum_dbm: float = MINIMUM_DBM,
    margin_db: float = MARGIN_DB,
    retry_share: float | None = None,
    lost_share: float | None = None,
    retries_at_most: float = RETRIES_AT_MOST,
    losses_at_most: float = LOSSES_AT_MOST,
    step_db: float = STEP_DB,
) -> RadioVerdict:
    """Return whether the level with the plate on is the minimum and a margin above it, each answer with 95 %.

    Args:
        on_dbm: Samples with the plate on, in order.
        off_dbm: Samples with the plate off, in order; the loss by the plate needs them, the verdict does not.
        minimum_dbm: The least level, in dBm. Common practice.
        margin_db: What must remain above it for a person in the way, a closed door, a wet wall. Common practice.
        retry_share: Frames sent more than once, by all sent, 0 to 1, where the device tells.
        lost_share: Questions to the device that got no answer, by all asked, 0 to 1.
        retries_at_most: The most that `retry_share` may be.
        losses_at_most: The most that `lost_share` may be.
        step_db: The step in which samples are counted.
    """
    on, off = level(on_dbm, step_db=step_db), level(off_dbm, step_db=step_db)
    plate = None if on is None or off is None else plate_loss(off, on)
    outcome, sentence = _outcome(on, minimum_dbm, margin_db)
    if on is None:
        usable = f"{_usable(on_dbm)} of {len(on_dbm)} samples with the plate on can be used"
        sentence = f"{usable}, at least {FEWEST_SAMPLES} are needed"
    over = _over("questions without an answer", lost_share, losses_at_most) or _over(
        "frames sent again", retry_share, retries_at_most
    )
    if over:
        outcome, sentence = "broken", f"{over}; {sentence}"
    if plate is not None:
        sentence += f"; the plate takes {plate.loss_db:.1f} dB ({plate.low_db:.1f} to {plate.high_db:.1f} dB)"
    margin = None if on is None else on.mean_dbm - minimum_dbm
    return RadioVerdict(outcome=outcome, sentence=sentence, margin_db=margin, on=on, off=off, plate=plate)


def free_space_loss_db(distance_m: float, frequency_hz: float) -> float:
    """Return the loss between isotropic antennas in free space, in dB: 20 log10(4 pi d f / c).

    Valid in the far field (at 2.4 GHz from about 0.1 m on) and with nothing in between.
    Source: ITU-R P.525 (free-space attenuation); derived.
    """
    return 20 * math.log10(4 * math.pi * distance_m * frequency_hz / SPEED_OF_LIGHT_M_PER_S)


def indoor_loss_db(
    distance_m: float, frequency_hz: float, *, distance_coefficient: float = 28.0, floors_db: float = 0.0
) -> float:
    """Return the loss within a building, in dB: 20 log10 f(MHz) + N log10 d + Lf - 28.

    Args:
        distance_m: At least 1 m.
        frequency_hz: 300 MHz to 100 GHz.
        distance_coefficient: N: 20 in the open, about 28 to 30 in dwellings and offices at 2.4 GHz.
        floors_db: Lf, what floors and walls in between take (common practice: a few dB for drywall, 10 to 20
            dB for concrete).

    Raises:
        ValueError: If the distance is below 1 m or the frequency outside the model's range.

    Good to about 10 dB, as all models of buildings are. Source: ITU-R P.1238 (site-general model).
    """
    if distance_m < 1 or not 300e6 <= frequency_hz <= 100e9:
        raise ValueError("the indoor model holds from 1 m on, and from 300 MHz to 100 GHz")
    return 20 * math.log10(frequency_hz / 1e6) + distance_coefficient * math.log10(distance_m) + floors_db - 28


def _effective_number(values: Sequence[float], mean: float) -> float:
    count = len(values)
    square = sum((value - mean) ** 2 for value in values)
    if square == 0:
        return float(count)  # all alike: what remains unknown is the place within the step, not the noise
    product = sum((one - mean) * (other - mean) for one, other in pairwise(values))
    correlation = (count * product / square + 1) / (count - 3)  # Kendall: a short series shows (1 + 3 r) / n too little
    correlation = min(max(correlation, 0.0), MOST_CORRELATED)
    return max(count * (1 - correlation) / (1 + correlation), 2.0)


def _outcome(
    on: Level | None, minimum_dbm: float, margin_db: float
) -> tuple[Literal["met", "broken", "unverified"], str]:
    if on is None:
        return "unverified", ""
    told = f"{on.mean_dbm:.1f} dBm ({on.low_dbm:.1f} to {on.high_dbm:.1f} dBm with 90 %) with the plate on"
    needed = f"the {minimum_dbm + margin_db:g} dBm needed ({minimum_dbm:g} dBm and a margin of {margin_db:g} dB)"
    if on.low_dbm >= minimum_dbm + margin_db:
        return "met", f"{told}, not less than {needed}"
    if on.high_dbm < minimum_dbm:
        return "broken", f"{told}, below the least level of {minimum_dbm:g} dBm"
    if on.high_dbm < minimum_dbm + margin_db:
        return "broken", f"{told}, less than {needed}"
    return "unverified", f"{told}, too near to {needed} to tell from {on.samples} samples: take more"


def _usable(samples_dbm: Sequence[float]) -> int:
    return sum(CREDIBLE_DBM[0] <= value <= CREDIBLE_DBM[1] for value in samples_dbm)


def _over(what: str, share: float | None, at_most: float) -> str:
    if share is None or share <= at_most:
        return ""
    return f"{share:.0%} {what}, at most {at_most:.0%} may be"
