"""Telling kinds of contact: against simulated switches in simulated hands, and cases by hand."""

import random
from collections import Counter
from functools import cache

import pytest

from pattress.closein.contacts import ASKED, Edge, Told, contact_kind, edges, instruction
from unit.closein.switches import HANDS, ORDINARY, Kind, Switch, Trace, events, history, ordinary, polled

TRACES = 1400  # 200 of each hand
SEED = 20261125
SPACINGS_S = (0.0, 0.2, 0.5, 1.0)  # 0: each change is told


@cache
def simulated() -> list[tuple[str, float, Switch, Told]]:
    numbers = random.Random(SEED)
    told = []
    for at in range(TRACES):
        every_s = numbers.choice(SPACINGS_S)
        kind: Kind = numbers.choice(("maintained", "momentary"))
        switch = Switch(kind=kind, starts_closed=numbers.random() < 0.5)
        hand = HANDS[at % len(HANDS)]
        hand = ordinary(every_s) if hand is ORDINARY else hand
        changes, ends_s = history(switch, hand, ASKED, numbers)
        trace = events(changes, ends_s) if every_s == 0 else polled(changes, ends_s, every_s, numbers)
        told.append((hand.name, every_s, switch, contact_kind(trace, ASKED, every_s)))
    return told


def test_at_least_99_in_100_are_right_or_not_sure() -> None:
    wrong = [
        (hand, every_s, switch, told)
        for hand, every_s, switch, told in simulated()
        if told.kind not in (switch.kind, "not sure")
    ]

    assert len(wrong) <= TRACES * 0.01, wrong


@pytest.mark.parametrize("name", ["ordinary", "slow"])
@pytest.mark.parametrize("every_s", SPACINGS_S)
def test_fewer_than_one_in_ten_ordinary_or_slow_hands_leave_it_not_sure(name: str, every_s: float) -> None:
    kinds = Counter(told.kind for hand, every, _, told in simulated() if (hand, every) == (name, every_s))

    assert kinds.total() > 30
    assert kinds["not sure"] < 0.1 * kinds.total()


def test_the_rest_of_a_momentary_contact_tells_whether_it_is_inverted() -> None:
    momentary = [(switch, told) for _, _, switch, told in simulated() if told.kind == switch.kind == "momentary"]

    said = Counter(
        "unknown" if told.is_inverted is None else told.is_inverted == switch.starts_closed
        for switch, told in momentary
    )

    assert said[True] > 0.95 * len(momentary)
    assert said[False] == 0


def test_most_other_hands_are_told_too_and_double_operations_are_the_hardest() -> None:
    shares = {
        name: Counter(told.kind == switch.kind for hand, _, switch, told in simulated() if hand == name)[True] / 200
        for name in {hand.name for hand in HANDS}
    }

    assert shares["holds"] > 0.8
    assert shares["hasty"] > 0.6
    assert shares["double presses"] > 0.5


def test_a_switch_that_stays_is_maintained_and_its_rest_is_not_spoken_of() -> None:
    told = contact_kind([(0.0, False), (2.0, True), (5.0, False), (8.0, True), (13.0, True)], 3, 0.2)

    assert (told.kind, told.is_inverted) == ("maintained", None)
    assert told.reason == "it stays where it was put: 3 moves for 3 operations, ending closed"


@pytest.mark.parametrize("rests_closed", [False, True])
def test_a_switch_that_comes_back_is_momentary_and_inverted_where_it_rests_closed(rests_closed: bool) -> None:
    told = contact_kind(presses([(2, 2.8), (5, 6.1), (9, 10)], ends_s=14, rests_closed=rests_closed), 3, 0.2)

    assert (told.kind, told.is_inverted) == ("momentary", rests_closed)
    assert told.reason.startswith(f"it comes back to {'closed' if rests_closed else 'open'} each time: 6 moves")


def test_a_slow_press_of_as_long_as_the_pause_is_momentary_by_the_number_of_moves() -> None:
    told = contact_kind(presses([(2, 4.8), (7.6, 10.4), (13, 15.6)], ends_s=20), 3, 0.5)

    assert told.kind == "momentary"


def test_one_flick_there_and_back_is_not_enough_to_tell() -> None:
    told = contact_kind([(0.0, False), (2.0, True), (5.0, False), (10.0, False)], 3, 0.5)

    assert told.kind == "not sure"
    assert told.reason == "neither kind explains it clearly: 2 moves for 3 operations, ending open"


@pytest.mark.parametrize("trace", [[], [(0.0, True)], [(0.0, True), (9.0, True)]])
def test_an_input_that_did_not_move_is_not_sure_and_says_so(trace: Trace) -> None:
    assert contact_kind(trace, 3, 0.2) == Told(kind="not sure", is_inverted=None, reason="the input did not move")


def test_asking_for_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one press"):
        contact_kind([(0.0, False), (1.0, True)], 0, 0.2)
    with pytest.raises(ValueError, match="cannot be negative"):
        contact_kind([(0.0, False), (1.0, True)], 3, -1)


def test_bounce_is_one_edge_at_its_first_moment() -> None:
    trace = [
        *[(0.0, False), (1.0, True), (1.004, False), (1.006, True), (1.03, False), (1.033, True)],
        *[(3.0, False), (3.002, True), (3.005, False), (6.0, False)],
    ]

    assert edges(trace) == [Edge(at_s=1.0, is_closed=True), Edge(at_s=3.0, is_closed=False)]


def test_a_short_spike_that_comes_to_nothing_is_no_edge() -> None:
    assert edges([(0.0, False), (1.0, True), (1.02, False), (4.0, False)]) == []


def test_a_spike_long_before_an_edge_does_not_move_it() -> None:
    trace = [(0.0, False), (1.0, True), (1.02, False), (4.0, True), (6.0, True)]

    assert edges(trace) == [Edge(at_s=4.0, is_closed=True)]


def test_polled_samples_are_all_taken_as_they_are() -> None:
    trace = [(0.2 * at, at in (5, 6, 9)) for at in range(15)]

    assert [(round(edge.at_s, 1), edge.is_closed) for edge in edges(trace)] == [
        (1.0, True), (1.4, False), (1.8, True), (2.0, False),
    ]  # fmt: skip


@pytest.mark.parametrize("kind", ["maintained", "momentary"])
def test_bounce_adds_no_edges_to_a_simulated_switch(kind: Kind) -> None:
    for seed in range(200):
        changes, ends_s = history(Switch(kind=kind), ORDINARY, ASKED, random.Random(seed))

        assert len(edges(events(changes, ends_s))) == (ASKED if kind == "maintained" else 2 * ASKED)


def test_the_instruction_asks_for_longer_presses_where_sampling_is_slow() -> None:
    assert instruction(2, 0.2) == (
        "Operate the switch of input 2: 3 times, about 3 s apart. If it stays where it is put, move it once each time, "
        "not there and back. If it springs back, hold it for about 1 s each time. Then let it rest."
    )
    assert "hold it for about 2 s" in instruction(2, 1.0)


def presses(pairs: list[tuple[float, float]], *, ends_s: float, rests_closed: bool = False) -> Trace:
    changes: Trace = [(0.0, rests_closed)]
    for pressed_s, released_s in pairs:
        changes += [(pressed_s, not rests_closed), (released_s, rests_closed)]
    return [*changes, (ends_s, rests_closed)]
