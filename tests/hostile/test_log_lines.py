"""Whatever comes as a log line: no parser raises, none keeps or tells more than its bounds allow."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from hostile.log_lines import PIECES, VALID, Parsers, hostile_bytes

MIXED = st.lists(st.one_of(st.sampled_from(VALID), st.sampled_from(PIECES), st.binary(max_size=20)), max_size=8)


@given(st.binary(max_size=2000))
@settings(max_examples=300, deadline=None)
def test_random_bytes_harm_no_parser(data: bytes) -> None:
    Parsers().take(data)


@given(MIXED.map(b"".join))
@settings(max_examples=500, deadline=None)
def test_known_lines_in_pieces_harm_no_parser(data: bytes) -> None:
    Parsers().take(data)


@given(st.text(max_size=500))
@settings(max_examples=300, deadline=None)
def test_text_of_any_script_harms_no_parser(text: str) -> None:
    Parsers().take(text.encode("utf-8", "surrogatepass"))


def test_changed_lines_harm_no_parser_and_each_parser_still_tells_something() -> None:
    parsers, random = Parsers(), Random(4)

    for _ in range(3000):
        parsers.take(hostile_bytes(random))

    assert all(count > 100 for count in parsers.told.values()), parsers.told


def test_the_longest_line_of_each_piece_harms_no_parser() -> None:
    parsers = Parsers()

    for piece in (*PIECES, *VALID):
        parsers.take(piece * (70_000 // len(piece)))

    assert parsers.framer.cut > 0
