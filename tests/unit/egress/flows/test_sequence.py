"""Losses by sequence numbers: what counts as one, and what does not."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.flows.sequence import BEFORE, EVERY_WAY, MAX_GAPS, Sequence

GREATEST = 1000
CYCLE = 2**32


def lost(messages: list[tuple[int, int]], ways: tuple[int, ...] = (BEFORE,)) -> int:
    sequence = Sequence(GREATEST, ways)
    return sum(sequence.follow(number, units) for number, units in messages)


def stream(sizes: list[int], *, start: int = 0) -> list[tuple[int, int]]:
    """Messages of so many units each, numbered as they should be."""
    found = []
    for size in sizes:
        found.append((start % CYCLE, size))
        start += size
    return found


SIZES = st.lists(st.integers(1, 40), min_size=8, max_size=60)


@given(SIZES, st.integers(0, CYCLE - 1))
def test_a_whole_stream_has_no_loss_wherever_it_starts(sizes: list[int], start: int) -> None:
    assert lost(stream(sizes, start=start)) == 0


@given(SIZES, st.integers(0, CYCLE - 1), st.data())
def test_what_is_missing_between_others_is_counted_unit_by_unit(
    sizes: list[int], start: int, data: st.DataObject
) -> None:
    messages = stream(sizes, start=start)
    missing = data.draw(st.sets(st.integers(1, len(sizes) - 2), max_size=min(5, len(sizes) - 2)))

    found = lost([message for index, message in enumerate(messages) if index not in missing])

    assert found == sum(sizes[index] for index in missing)


@given(SIZES, st.integers(0, CYCLE - 1), st.randoms(use_true_random=False))
def test_neighbours_that_change_places_are_no_loss(sizes: list[int], start: int, chance: random.Random) -> None:
    messages = stream(sizes, start=start)
    for index in range(1, len(messages) - 2, 2):
        if chance.random() < 0.5:
            messages[index], messages[index + 1] = messages[index + 1], messages[index]

    assert lost(messages) == 0


@given(SIZES, st.integers(0, CYCLE - 1), st.randoms(use_true_random=False))
def test_messages_that_are_repeated_are_no_loss(sizes: list[int], start: int, chance: random.Random) -> None:
    messages = [message for message in stream(sizes, start=start) for _ in range(2 if chance.random() < 0.3 else 1)]

    assert lost(messages) == 0


def test_a_message_that_comes_late_twice_is_taken_back_once() -> None:
    first, second, third, fourth = stream([10, 20, 30, 40])

    assert lost([first, third, second, second, fourth]) == 0
    assert lost([first, fourth, second, second]) == 30


def test_a_part_of_a_gap_that_comes_late_leaves_the_rest_missing() -> None:
    messages = stream([5] * 10)

    assert lost([messages[0], messages[9], messages[4], messages[1], messages[8]]) == 5 * 5


@pytest.mark.parametrize("old", [500, 5_000_000, CYCLE - 5])
def test_an_exporter_that_counts_anew_is_no_loss(old: int) -> None:
    assert lost([*stream([7] * 20, start=old), *stream([7] * 20)]) == 0


def test_losses_after_a_small_step_back_are_counted_again_soon() -> None:
    again = stream([7] * 20)

    assert lost([*stream([7] * 20, start=100), *again[:10], *again[12:]]) == 14


def test_a_jump_too_large_for_a_loss_is_none() -> None:
    assert lost([*stream([5, 5]), *stream([5, 5], start=10 + GREATEST)]) == GREATEST
    assert lost([*stream([5, 5]), *stream([5, 5], start=10 + GREATEST + 1)]) == 0


def test_a_message_that_nobody_can_count_begins_anew() -> None:
    sequence = Sequence(GREATEST)

    changes = [sequence.follow(0, 5), sequence.follow(5, None), sequence.follow(400, 5), sequence.follow(410, 5)]

    assert changes == [0, 0, 0, 5]


# Ways of counting


@given(SIZES, st.booleans(), st.booleans(), st.data())
def test_every_way_of_counting_is_learned_and_then_finds_losses(
    sizes: list[int], is_with_itself: bool, counts_options: bool, data: st.DataObject
) -> None:
    """Options are in some messages, counted or not; the number stands before the message's own units or after them."""
    sizes = [3, 8, 2, 9, *sizes]
    options = [1 if index % 5 == 2 else 0 for index in range(len(sizes))]
    count, messages = 100, []
    for size, option in zip(sizes, options, strict=True):
        own = size + (option if counts_options else 0)
        messages.append(((count + own if is_with_itself else count), size + option, option))
        count += own
    sequence = Sequence(GREATEST, EVERY_WAY)

    whole = [sequence.follow(*message) for message in messages]
    change = sequence.follow(count + 50 + (5 if is_with_itself else 0), 5)

    assert whole == [0] * len(whole)
    assert change == 50


def test_gaps_that_are_remembered_are_bounded() -> None:
    sequence = Sequence(GREATEST)

    for number in range(200):
        sequence.follow(number * 10, 5)

    assert len(sequence._gaps) == MAX_GAPS
