"""Frames out of a stream, however it is cut into pieces."""

import pytest

from pattress.egress.framing import MAX_COUNTED_BYTES, MAX_FRAME_BYTES, Framer

MIXED = b"<4>one\n11 <4>two\nhalf<4>three\0<4>four\r\n\n\n6 <4>end12 <4>and more\n<4>last\n"
FRAMES = [b"<4>one", b"<4>two\nhalf", b"<4>three", b"<4>four\r", b"<4>end", b"<4>and more\n", b"<4>last"]


@pytest.mark.parametrize("size", [1, 2, 3, 7, 1000])
def test_both_framings_are_told_apart_frame_by_frame_whatever_the_pieces(size: int) -> None:
    framer = Framer()

    frames = [frame for at in range(0, len(MIXED), size) for frame in framer.feed(MIXED[at : at + size])]

    assert frames == FRAMES
    assert framer.cut == 0


def test_a_line_that_begins_with_a_number_is_a_line() -> None:
    assert Framer().feed(b"12 relays on\n12\n1990 Oct 22\n0 <4>zero\n") == [
        b"12 relays on",
        b"12",
        b"1990 Oct 22",
        b"0 <4>zero",
    ]


def test_a_line_over_the_bound_is_cut_and_the_next_one_is_whole() -> None:
    framer = Framer()

    frames = framer.feed(b"x" * 20_000) + framer.feed(b"x" * 20_000 + b"\n<4>next\n")

    assert frames == [b"x" * MAX_FRAME_BYTES, b"<4>next"]
    assert framer.cut == 1


def test_a_counted_frame_over_the_bound_is_cut_and_the_next_one_is_whole() -> None:
    framer = Framer()

    frames = framer.feed(b"20000 <4>" + b"\n" * 9997) + framer.feed(b"\n" * 10_000 + b"7 <4>next")

    assert frames == [b"<4>" + b"\n" * (MAX_FRAME_BYTES - 3), b"<4>next"]
    assert framer.cut == 1


def test_a_line_of_exactly_the_bound_is_whole() -> None:
    framer = Framer()

    assert framer.feed(b"x" * MAX_FRAME_BYTES + b"\n") == [b"x" * MAX_FRAME_BYTES]
    assert framer.cut == 0


def test_a_count_that_would_make_us_deaf_is_text() -> None:
    count = str(MAX_COUNTED_BYTES + 1).encode()

    assert Framer().feed(count + b" <4>one\n<4>two\n") == [count + b" <4>one", b"<4>two"]


def test_no_more_is_kept_than_one_frame() -> None:
    framer = Framer()
    for _ in range(100):
        framer.feed(b"x" * 5000)

    assert framer.cut == 1
    assert len(framer._buffer) <= MAX_FRAME_BYTES


def test_a_last_line_without_an_end_is_given_when_the_connection_ends() -> None:
    framer = Framer()

    assert framer.feed(b"<4>one\n<4>two") == [b"<4>one"]
    assert framer.is_amid_frame
    assert framer.finish() == [b"<4>two"]
    assert not framer.is_amid_frame


def test_half_a_counted_frame_is_not_given_and_counted() -> None:
    framer = Framer()
    framer.feed(b"20 <4>half")

    assert framer.finish() == []
    assert framer.cut == 1


def test_a_bound_of_ones_own_holds() -> None:
    assert Framer(4).feed(b"123456\nabcd\n") == [b"1234", b"abcd"]
