"""Where a temperature that is rising will settle, how sure that is, and what that means against a limit.

What belongs here: the fitted rise, the decision, and what the rise comes to under another load in another ambient.
What does not: the arithmetic of the fit (`lag`), reading temperatures, and wording findings.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from typing import Literal

from pattress.circuit.lag import Lag, fitted, found_step_k

Decision = Literal["below", "above", "needs more time"]
LoadLaw = Literal["cautious", "proportional", "squared"]

FEWEST_SAMPLES = 6  # three unknowns, and as many again to see noise
USEFUL_WIDTH_K = 10.0  # common practice: plus and minus 5 K is about what a sensor inside a module is good for
SETTLED_K = 0.25  # what is still to come, at most, of a rise that counts as settled
ONE_LAG_CHANCE = 0.01  # less likely than this by noise alone, it is no single first-order rise
LATER_S = 300.0  # common practice: what is small, a sensor or a relay, is as warm as what it sits on by then


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise(Lag):
    """A fitted rise, of which decisions rest on the 99 % interval.

    `step_k` is the step in which the sensor counts, `watched_s` the time from first to last sample. `needs_more` says
    that the interval is still too wide to be of use, `has_settled` that more minutes add nothing: what cannot be
    decided then, cannot be later.

    `is_one_lag` is false where the samples are not those of one first-order rise, so that nothing can be decided by it.
    """

    step_k: float
    watched_s: float
    samples: int
    needs_more: bool
    has_settled: bool
    is_one_lag: bool

    @property
    def rise_k(self) -> float:
        """By how many kelvin it goes up, from the first sample until it has settled."""
        return self.settles_c - self.starts_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Scaled:
    """What a rise comes to under another load and in another ambient. `assumption` says in words by which law.

    `is_one_lag` is that of the rise.
    """

    settles_c: float
    low_c: float
    high_c: float
    surely_low_c: float
    surely_high_c: float
    factor: float
    assumption: str
    is_one_lag: bool


def fit_rise(
    samples: Sequence[tuple[float, float]], *, step_k: float | None = None, useful_width_k: float = USEFUL_WIDTH_K
) -> Rise:
    """Return where a rise will settle, its time constant, and how sure both are.

    Args:
        samples: Seconds and degrees Celsius in the order of time, at any spacing; load and ambient stay as they are.
        step_k: The step in which the sensor counts, in kelvin; found from the samples where None.
        useful_width_k: An interval of settling wider than this, in kelvin, is of no use yet, whatever the limit.

    Raises:
        ValueError: If there are fewer than six samples, time does not go on, or something is not a finite number.

    What is expected before any sample was seen is weak but not nothing (`lag`: a rise of 45 K, give or take 45; a time
    constant of 10 minutes, give or take a factor of 2.2): it decides where samples are few and not bent yet.

    The 90 % are right on average over all that is expected, not for each time constant by itself: from 8 minutes of
    samples 15 to 30 s apart the interval holds in 88 to 98 % up to 40 minutes, most often where the time constant is a
    usual one that the samples say little of (20 to 25 minutes), but in about 60 % at 40 to 60 minutes.

    T(t) = Ts - (Ts - T0) exp(-t / tau), valid where the module warms as one lump: T0 is the temperature at the first
    sample, whenever that was taken. Source: derived (heat balance of one thermal resistance and one capacity).

    Where the samples are not those of such a curve (the load or the cooling changed on the way, the sensor lags, a
    small lump sits on a large one) `is_one_lag` is false; from ten minutes on, the later half of the time is fitted by
    itself then, since what was quick or came early is over. Not all of them are found out: least of all a small lump
    that has warmed on a large one that has hardly begun to.
    """
    _check(samples)
    step = found_step_k([celsius for _, celsius in samples]) if step_k is None else step_k
    rise = _fitted(samples, step, useful_width_k)
    half_s = (samples[0][0] + samples[-1][0]) / 2
    later = [one for one in samples if one[0] >= half_s]
    if rise.is_one_lag or rise.watched_s / 2 < LATER_S or len(later) < FEWEST_SAMPLES:
        return rise
    again = _fitted(later, step, useful_width_k)
    if not again.is_one_lag:
        return rise
    # What the load brings about counts from where it all began.
    return replace(again, starts_c=samples[0][1], watched_s=rise.watched_s, samples=rise.samples)


def decide(rise: Rise | Scaled, limit_c: float, *, margin_k: float = 0.0) -> Decision:
    """Tell whether a rise will stay below a limit less a margin, or not, or that this cannot be told yet.

    A rise that is no single one of first order is not decided. Each of the two answers rests on the 99 % interval: it
    is wrong once in two hundred times where the limit is close, and less often where it is not.

    Args:
        rise: As fitted, or scaled to another load and ambient.
        limit_c: The module's limit, in degrees Celsius.
        margin_k: By how many kelvin it must stay below the limit.
    """
    if not rise.is_one_lag:
        return "needs more time"
    highest_c = limit_c - margin_k
    if rise.surely_high_c < highest_c:
        return "below"
    return "above" if rise.surely_low_c >= highest_c else "needs more time"


def scale(
    rise: Rise,
    *,
    test_load_w: float | None = None,
    planned_load_w: float | None = None,
    ambient_c: float | None = None,
    planned_ambient_c: float | None = None,
    law: LoadLaw = "cautious",
) -> Scaled:
    """Return where the module will settle under its planned load in its planned (summer) ambient.

    The fitted rise, from the first sample on, is taken as caused by the load that was switched on for the test; it is
    scaled and added to what the module has before, which moves with the ambient kelvin for kelvin. Two laws can be had,
    since a rise is proportional to what is dissipated: `squared`, for a contact or a conductor, which dissipates I^2 R;
    `proportional`, for a triac, a rectifier or a supply, whose loss goes with the current (about 1 V times I). A module
    has both; `cautious`, the default, takes whichever gives the higher temperature.

    Args:
        rise: As fitted under the test load.
        test_load_w: The load during the test, in watts, above zero; with `planned_load_w`, or neither.
        planned_load_w: The planned load at the same voltage and power factor, in watts.
        ambient_c: Today's ambient at the box, in degrees Celsius; with `planned_ambient_c`, or neither.
        planned_ambient_c: The ambient to plan for.
        law: How the rise goes with the load.

    Raises:
        ValueError: If only one of a pair is given, or a load is not above zero.

    What it cannot know: heat that the module itself gives off (common practice: half a watt to a watt and a half) is
    scaled too where the module was switched on together with the load; natural convection takes away a little more
    than in proportion when the rise is higher, so that scaling up errs upwards. Source: derived.
    """
    factor, of_load = _load_factor(test_load_w, planned_load_w, law, is_rising=rise.rise_k >= 0)
    shift_k, of_ambient = _ambient_shift_k(ambient_c, planned_ambient_c)

    def scaled(settles_c: float) -> float:
        return rise.starts_c + shift_k + factor * (settles_c - rise.starts_c)

    return Scaled(
        settles_c=scaled(rise.settles_c),
        low_c=scaled(rise.low_c),
        high_c=scaled(rise.high_c),
        surely_low_c=scaled(rise.surely_low_c),
        surely_high_c=scaled(rise.surely_high_c),
        factor=factor,
        assumption=f"{of_load}; {of_ambient}",
        is_one_lag=rise.is_one_lag,
    )


def settling_c(ambient_c: float, dissipation_w: float, resistance_k_per_w: float) -> float:
    """Return the temperature at which a body settles, in degrees Celsius: Ta + P Rth.

    Source: derived (heat balance). Valid for one thermal resistance to an ambient that stays.
    """
    return ambient_c + dissipation_w * resistance_k_per_w


def temperature_c(at_s: float, *, starts_c: float, settles_c: float, time_constant_s: float) -> float:
    """Return the temperature of a first-order rise at a moment, in degrees Celsius: Ts - (Ts - T0) exp(-t / tau).

    Source: derived (heat balance; tau = Rth C in seconds, from K/W and J/K).
    """
    return settles_c - (settles_c - starts_c) * math.exp(-at_s / time_constant_s)


def contact_loss_w(current_a: float, resistance_ohm: float) -> float:
    """Return what a closed contact dissipates, in watts: I^2 R. Source: Joule's law."""
    return current_a * current_a * resistance_ohm


def _fitted(samples: Sequence[tuple[float, float]], step_k: float, useful_width_k: float) -> Rise:
    fit = fitted(samples, step_k)
    watched_s = samples[-1][0] - samples[0][0]
    is_one_lag = fit.one_lag_chance >= ONE_LAG_CHANCE
    still_to_come_k = abs(fit.settles_c - fit.starts_c) * math.exp(-watched_s / fit.tau_high_s)
    has_settled = is_one_lag and still_to_come_k <= SETTLED_K
    return Rise(
        **asdict(fit),
        step_k=step_k,
        watched_s=watched_s,
        samples=len(samples),
        needs_more=not is_one_lag or (fit.high_c - fit.low_c > useful_width_k and not has_settled),
        has_settled=has_settled,
        is_one_lag=is_one_lag,
    )


def _check(samples: Sequence[tuple[float, float]]) -> None:
    if len(samples) < FEWEST_SAMPLES:
        raise ValueError(f"{len(samples)} samples are too few for a rise: at least {FEWEST_SAMPLES} are needed")
    if not all(math.isfinite(seconds) and math.isfinite(celsius) for seconds, celsius in samples):
        raise ValueError("a sample is not a finite number")
    if any(later <= earlier for (earlier, _), (later, _) in pairwise(samples)):
        raise ValueError("the samples do not go on in time")


def _load_factor(test_w: float | None, planned_w: float | None, law: LoadLaw, *, is_rising: bool) -> tuple[float, str]:
    if test_w is None and planned_w is None:
        return 1.0, "the load is as in the test"
    if test_w is None or planned_w is None or test_w <= 0 or planned_w <= 0:
        raise ValueError("both the test load and the planned load are needed, above zero")
    ratio = planned_w / test_w
    squared = law == "squared" or (law == "cautious" and (ratio > 1) == is_rising)
    how = "as the square of the load (contact loss, I squared R)" if squared else "in proportion to the load"
    why = ", the higher of the two laws" if law == "cautious" else ""
    return (ratio * ratio if squared else ratio), f"the rise goes {how}{why}: {planned_w:g} W for {test_w:g} W"


def _ambient_shift_k(today_c: float | None, planned_c: float | None) -> tuple[float, str]:
    if today_c is None and planned_c is None:
        return 0.0, "the ambient is as today"
    if today_c is None or planned_c is None:
        raise ValueError("both today's ambient and the planned one are needed")
    return planned_c - today_c, f"the rise is added to an ambient of {planned_c:g} °C instead of {today_c:g} °C"
