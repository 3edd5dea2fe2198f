"""Simulated wall switches in the hands of simulated people, as polling or an event stream would show them.

A hand makes a contact's true history (with bounce), and a sampler looks at it: at even times with some jitter, or at
each change. None of the distributions here is the one that the judgement under test assumes: times are uniform within
ranges, and what a hand does wrong is drawn by itself.

Parameters of a `Hand`, seconds unless said otherwise:
    press       range of the length of a press (momentary only)
    pause       range of the wait between two operations, hand off
    doubles     share of operations that become two in quick succession, `DOUBLE_GAP` apart
    miscounts   share of traces with one operation more or less than asked
    holds       share of presses of 4 to 8 s
"""

import random
from dataclasses import dataclass
from typing import Literal

Kind = Literal["maintained", "momentary"]
Trace = list[tuple[float, bool]]

BOUNCE = (0.001, 0.05)  # how long a contact bounces
CHATTER = (0.0005, 0.006)  # how long it keeps a state meanwhile
DOUBLE_PRESS, DOUBLE_GAP = (0.1, 0.4), (0.12, 0.5)
HOLD = (4.0, 8.0)
LEAD, QUIET = (1.0, 3.0), (3.5, 6.0)  # before the first operation, and after the last


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """How someone operates a switch."""

    name: str
    press: tuple[float, float] = (0.5, 1.5)
    pause: tuple[float, float] = (2.0, 4.5)
    doubles: float = 0.0
    miscounts: float = 0.0
    holds: float = 0.0


ORDINARY = Hand(name="ordinary")
PATIENT = Hand(name="ordinary", press=(1.2, 2.8))  # asked to hold for two seconds, since sampling is slow
SLOW = Hand(name="slow", press=(2.0, 3.0), pause=(2.0, 4.5))
DOUBLING = Hand(name="double presses", doubles=0.34)  # one operation of three: 1 in 25 traces doubles all three
MISCOUNTING = Hand(name="miscounts", miscounts=1.0)
HOLDING = Hand(name="holds", holds=0.34)
HASTY = Hand(name="hasty", press=(0.1, 0.4), pause=(0.7, 2.0))
CLUMSY = Hand(name="clumsy", press=(0.15, 3.0), pause=(1.0, 6.0), doubles=0.1, miscounts=0.2, holds=0.05)
HANDS = (ORDINARY, SLOW, DOUBLING, MISCOUNTING, HOLDING, HASTY, CLUMSY)


def ordinary(every_s: float) -> Hand:
    """Return someone who does about what was asked for at this time between samples."""
    return PATIENT if every_s > 0.5 else ORDINARY


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """What is wired: its kind, and the state that it rests in or starts in."""

    kind: Kind
    starts_closed: bool = False


def history(switch: Switch, hand: Hand, asked: int, rng: random.Random, *, bounces: bool = True) -> tuple[Trace, float]:
    """Return each change of a contact, bounce and all, and when the watching ends."""
    now = rng.uniform(*LEAD)
    moves: list[float] = []
    count = asked
    if rng.random() < hand.miscounts:
        count += rng.choice((-1, 1))
    for _ in range(count):
        times = 2 if rng.random() < hand.doubles else 1
        for again in range(times):
            moves.append(now)
            if switch.kind == "momentary":
                now += _press(hand, rng, is_quick=times == 2)
                moves.append(now)
            if again + 1 < times:
                now += rng.uniform(*DOUBLE_GAP)
        now += rng.uniform(*hand.pause)
    ends_s = moves[-1] + rng.uniform(*QUIET)
    changes: Trace = [(0.0, switch.starts_closed)]
    is_closed = switch.starts_closed
    for at, moved_s in enumerate(moves):
        is_closed = not is_closed
        next_s = moves[at + 1] if at + 1 < len(moves) else ends_s
        changes += _bounced(moved_s, next_s, is_closed, rng) if bounces else [(moved_s, is_closed)]
    return changes, ends_s


def polled(changes: Trace, ends_s: float, every_s: float, rng: random.Random) -> Trace:
    """Return what questions at about even times would see: each is answered up to a tenth of the interval late."""
    samples: Trace = []
    asked_s, place = rng.uniform(0, every_s), 0
    while asked_s <= ends_s:
        at_s = asked_s + rng.uniform(0, every_s / 10)
        while place + 1 < len(changes) and changes[place + 1][0] <= at_s:
            place += 1
        samples.append((at_s, changes[place][1]))
        asked_s += every_s
    return samples


def events(changes: Trace, ends_s: float) -> Trace:
    """Return what a device that reports each change would send, and a last look at the end."""
    return [*changes, (ends_s, changes[-1][1])]


def _press(hand: Hand, rng: random.Random, *, is_quick: bool) -> float:
    if is_quick:
        return rng.uniform(*DOUBLE_PRESS)
    return rng.uniform(*HOLD) if rng.random() < hand.holds else rng.uniform(*hand.press)


def _bounced(moved_s: float, next_s: float, is_closed: bool, rng: random.Random) -> Trace:
    """Return one change with its bounce: it ends in the new state, well before the next change."""
    until_s = min(moved_s + rng.uniform(*BOUNCE), moved_s + (next_s - moved_s) / 2)
    changes = [(moved_s, is_closed)]
    at_s = moved_s
    while True:
        left_s = at_s + rng.uniform(*CHATTER)
        back_s = left_s + rng.uniform(*CHATTER)
        if back_s >= until_s:
            return changes
        changes += [(left_s, not is_closed), (back_s, is_closed)]
        at_s = back_s
