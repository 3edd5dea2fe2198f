"""What kind of switch is wired to an input: told from how its contact moves while a person operates it.

A maintained switch moves once each time it is operated and stays there; a momentary one comes back when it is let go.
How long a person presses and waits is not known, and short presses fall between two questions to the device; so both
kinds are weighed by how well they explain the number of moves and how long each state lasted, over all paces and all
ways of pressing. Where neither is clearly the better explanation the answer is "not sure".

What belongs here: edges without bounce, and the kind of contact. What does not: reading inputs, asking the person.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Literal

ASKED = 3
"""How many times the person is asked to operate the switch. Odd, so that a maintained one ends the other way round."""

PAUSE_S = 3.0
"""About how many seconds the person is asked to leave in between: more than a slow press takes."""

QUIET_S = 4.0
"""How long to go on sampling after the last operation, hands off, so that a slow press comes to its end."""

HOLD_S = 1.0  # as long as people press without feeling silly, and five questions at 0.2 s
BOUNCE_S = 0.08  # common practice: contacts bounce for 1 to 50 ms, and no one presses for less than about 0.1 s
SURE_ODDS = 100.0
REST_ODDS = 20.0

# What people do, common practice. Seconds (medians) and how usual they are; each varies by a factor of about 1.5.
PACES = ((0.6, 0.05), (1.2, 0.15), (2.2, 0.3), (3.5, 0.35), (6.0, 0.15))
PRESSES = ((0.15, 0.1), (0.35, 0.25), (0.8, 0.3), (1.6, 0.15), (2.6, 0.15), (6.0, 0.05))
VARIES = 0.4  # standard deviation of the logarithm
DOUBLE_S, DOUBLE_SHARE = 0.3, 0.1  # between the two of a double press
STRAY_SHARE = 0.04  # a dwell that fits no pattern: someone was disturbed
MISCOUNT = 0.12  # how much less likely each operation more or less than asked is
HELD_SHARE = 0.01  # held when sampling begins or ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A contact that moved and stayed for longer than it bounces. `at_s` is when it first left its former state."""

    at_s: float
    is_closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The kind of contact, if it can be told, and why.

    `is_inverted` is whether a momentary one rests closed; None for a maintained one, which has no rest, and where this
    cannot be told.
    """

    kind: Literal["maintained", "momentary", "not sure"]
    is_inverted: bool | None
    reason: str


def instruction(number: int, sampled_every_s: float, presses_asked: int = ASKED) -> str:
    """Return what the person at the box is asked to do, so that the kind of contact can be told afterwards."""
    return (
        f"Operate the switch of input {number}: {presses_asked} times, about {PAUSE_S:g} s apart."
        " If it stays where it is put, move it once each time, not there and back."
        f" If it springs back, hold it for about {hold_s(sampled_every_s):.0f} s each time. Then let it rest."
    )


def hold_s(sampled_every_s: float) -> float:
    """Return for how long a push button is to be held, in seconds, so that two questions to the device fall within."""
    return max(HOLD_S, 2 * sampled_every_s)


def edges(trace: Sequence[tuple[float, bool]], *, bounce_s: float = BOUNCE_S) -> list[Edge]:
    """Return when an input really moved, in the order of time, bounce left out.

    Args:
        trace: Seconds and whether closed, in the order of time: samples at any spacing, or one entry for each change.
        bounce_s: A state that lasts for less is bounce. The last state of a trace counts however short it was seen.
    """
    found: list[Edge] = []
    settled: bool | None = None
    left_s: float | None = None  # when the settled state was first left, in the burst that goes on now
    for began_s, ended_s, is_closed in _runs(trace):
        if settled is None:
            settled = is_closed
            continue
        if is_closed != settled and left_s is None:
            left_s = began_s
        if ended_s is not None and ended_s - began_s < bounce_s:
            continue
        if is_closed != settled and left_s is not None:
            found.append(Edge(at_s=left_s, is_closed=is_closed))
            settled = is_closed
        left_s = None
    return found


def contact_kind(trace: Sequence[tuple[float, bool]], presses_asked: int = ASKED, sampled_every_s: float = 0.2) -> Told:
    """Return the kind of contact that a trace shows.

    Args:
        trace: Seconds and whether closed, from before the first operation until some seconds after the last.
        presses_asked: How many times the person was asked to operate the switch.
        sampled_every_s: The time between two samples; 0 where each change is an entry of its own.

    Raises:
        ValueError: If less than one press was asked for, or the time between samples is negative.

    Valid from about 0.05 to 1 s between samples. Source: derived (likelihood ratio); the habits of people are common
    practice.
    """
    if presses_asked < 1 or sampled_every_s < 0:
        raise ValueError("at least one press must be asked for, and time between samples cannot be negative")
    moves = edges(trace)
    if not moves:
        return Told(kind="not sure", is_inverted=None, reason="the input did not move")
    ended_s = trace[-1][0]
    starts_closed = not moves[0].is_closed
    evidence = _Evidence(
        dwells_s=tuple(later.at_s - earlier.at_s for earlier, later in pairwise(moves)),
        tail_s=ended_s - moves[-1].at_s,
        asked=presses_asked,
        blur_s=max(sampled_every_s, 0.05),
    )
    at_rest, held = _momentary(evidence, is_held_at_start=False), _momentary(evidence, is_held_at_start=True)
    momentary, maintained = at_rest + held, _maintained(evidence)
    told = f"{len(moves)} moves for {presses_asked} operations, ending {_word(moves[-1].is_closed)}"
    if momentary > SURE_ODDS * maintained:
        rests_closed = starts_closed if at_rest >= held else not starts_closed
        is_clear = max(at_rest, held) > REST_ODDS * min(at_rest, held)
        return Told(
            kind="momentary",
            is_inverted=rests_closed if is_clear else None,
            reason=f"it comes back to {_word(rests_closed)} each time: {told}",
        )
    if maintained > SURE_ODDS * momentary:
        return Told(kind="maintained", is_inverted=None, reason=f"it stays where it was put: {told}")
    return Told(kind="not sure", is_inverted=None, reason=f"neither kind explains it clearly: {told}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evidence:
    dwells_s: tuple[float, ...]  # between moves
    tail_s: float  # from the last move to the end of the trace
    asked: int
    blur_s: float


def _maintained(evidence: _Evidence) -> float:
    count = _miscounted(len(evidence.dwells_s) + 1, evidence.asked)
    return count * sum(
        share * math.prod(_waiting(dwell_s, pace_s, evidence.blur_s) for dwell_s in evidence.dwells_s)
        for pace_s, share in PACES
    )


def _momentary(evidence: _Evidence, *, is_held_at_start: bool) -> float:
    moves = len(evidence.dwells_s) + 1
    first_press = 1 if is_held_at_start else 0
    is_held_at_end = (moves + first_press) % 2 == 1
    presses = (moves + 1 + first_press) // 2
    pressed, rested = evidence.dwells_s[first_press::2], evidence.dwells_s[1 - first_press :: 2]
    whole = 0.0
    for press_s, press_share in PRESSES:
        seen = _seen_share(press_s, evidence.blur_s)
        of_presses = math.prod(_within(dwell_s, press_s, evidence.blur_s) for dwell_s in pressed)
        of_presses *= _longer(evidence.tail_s, press_s) if is_held_at_end else 1.0
        count = _seen_of(presses, evidence.asked, seen)
        for pace_s, pace_share in PACES:
            of_waits = math.prod(_waiting(dwell_s, pace_s, evidence.blur_s, missed=1 - seen) for dwell_s in rested)
            whole += press_share * pace_share * count * of_presses * of_waits
    return whole * (HELD_SHARE if is_held_at_start else 1.0) * (HELD_SHARE if is_held_at_end else 1.0)


def _waiting(dwell_s: float, pace_s: float, blur_s: float, missed: float = 0.02) -> float:
    """Return how likely a wait between operations is: one pause, two with a missed press between, or a double press."""
    usual = _within(dwell_s, pace_s, blur_s)
    merged = _within(dwell_s, 2.2 * pace_s, blur_s)
    double = _within(dwell_s, DOUBLE_S, blur_s)
    merged_share = min(missed, 0.4)
    return (1 - merged_share - DOUBLE_SHARE) * usual + merged_share * merged + DOUBLE_SHARE * double


@cache
def _seen_share(press_s: float, blur_s: float) -> float:
    """Return how many presses of this length are seen by samples that are `blur_s` apart."""
    points = [press_s * math.exp(VARIES * deviation) for deviation in (-1.5, -0.9, -0.5, -0.16, 0.16, 0.5, 0.9, 1.5)]
    return sum(min(1.0, point / blur_s) for point in points) / len(points)


def _seen_of(presses: int, asked: int, seen: float) -> float:
    """Return how likely it is to see so many presses where about as many as asked were made."""
    return sum(
        _miscounted(made, asked) * math.comb(made, presses) * seen**presses * (1 - seen) ** (made - presses)
        for made in range(max(presses, 1), max(presses, asked) + 4)
    )


def _miscounted(made: int, asked: int) -> float:
    return float(0.8 * MISCOUNT ** abs(made - asked))


def _within(dwell_s: float, median_s: float, blur_s: float) -> float:
    """Return how likely a time is seen as `dwell_s`, which is right to the time between two samples."""
    low, high = max(dwell_s - blur_s, 0.0), dwell_s + blur_s
    stray = STRAY_SHARE * 2 * blur_s / 10.0  # anything within 10 s
    return (1 - STRAY_SHARE) * (_longer(low, median_s) - _longer(high, median_s)) + stray


def _longer(dwell_s: float, median_s: float) -> float:
    if dwell_s <= 0:
        return 1.0
    return 0.5 * math.erfc(math.log(dwell_s / median_s) / VARIES / math.sqrt(2))


def _runs(trace: Sequence[tuple[float, bool]]) -> list[tuple[float, float | None, bool]]:
    """Return stretches of one state: when it began, when the next began, the state."""
    starts = [
        (at_s, is_closed)
        for place, (at_s, is_closed) in enumerate(trace)
        if place == 0 or trace[place - 1][1] != is_closed
    ]
    if not starts:
        return []
    ends = [*(at_s for at_s, _ in starts[1:]), None]
    return [(at_s, end, is_closed) for (at_s, is_closed), end in zip(starts, ends, strict=True)]


def _word(is_closed: bool) -> str:
    return "closed" if is_closed else "open"
