"""The parser of TXT records, on what no standard says."""

from hypothesis import given
from hypothesis import strategies as st

from pattress.discovery.txt import MAX_TXT_KEYS, parse_txt, shown

KEYS = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters="="), min_size=1, max_size=9)
VALUES = st.none() | st.binary(max_size=20)


@given(st.binary(max_size=2000))
def test_no_bytes_are_refused(data: bytes) -> None:
    attributes = parse_txt(data)

    assert len(attributes) <= MAX_TXT_KEYS
    assert all(key and key == key.lower() and "=" not in key for key in attributes)


@given(st.dictionaries(KEYS.map(str.lower), VALUES, max_size=20))
def test_what_was_written_is_read(attributes: dict[str, bytes | None]) -> None:
    strings = [key.encode() + (b"" if value is None else b"=" + value) for key, value in attributes.items()]
    data = b"".join(bytes([len(string)]) + string for string in strings)

    assert parse_txt(data) == attributes


def test_a_string_that_ends_after_the_record_does_is_left_out() -> None:
    attributes = parse_txt(b"\x03a=1" + b"\x08sn=1234")

    assert attributes == {"a": b"1"}


def test_a_65th_key_is_left_out() -> None:
    data = b"".join(b"\x05" + b"k%02d=x" % number for number in range(70))

    attributes = parse_txt(data)

    assert list(attributes) == [f"k{number:02d}" for number in range(64)]


def test_a_value_is_shown_so_that_every_byte_can_be_seen() -> None:
    shown_values = [shown(value) for value in (None, b"", "küche".encode(), b"\xff\xfe")]

    assert shown_values == ["(no value)", "", "küche", "\\xff\\xfe"]
