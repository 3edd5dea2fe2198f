"""Decoding what a stranger sent."""

import json
import math
import time
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.wire.decode import MAX_DOCUMENT_BYTES, UndecodableError, decode_json, decode_text

LONG = b"k" * 90
HOSTILE = [
    (b"", "an empty answer where JSON belongs"),
    (b" \r\n\t", "an empty answer where JSON belongs"),
    (b"\xef\xbb\xbf", "an empty answer where JSON belongs"),
    (b"<!DOCTYPE html><title>Log in</title>", "a page of HTML or XML where JSON belongs"),
    (b"\n <?xml version='1.0'?>", "a page of HTML or XML where JSON belongs"),
    (b"{", "not JSON: Expecting property name enclosed in double quotes at line 1, column 2"),
    (b'{"a": 1,}', None),
    (b'{"a": 1} x', "not JSON: Extra data at line 1, column 10"),
    (b"{'a': 1}", "not JSON: Expecting property name enclosed in double quotes at line 1, column 2"),
    (b"[1,\n2,,]", "not JSON: Expecting value at line 2, column 3"),
    (b'"open', "not JSON: Unterminated string starting at at line 1, column 1"),
    (b'"tab\there"', "not JSON: Invalid control character at at line 1, column 5"),
    (b'"\\x41"', None),
    (b'"\\ud8"', None),
    (b"01", "not JSON: Extra data at line 1, column 2"),
    (b"+1", "not JSON: Expecting value at line 1, column 1"),
    (b"0x10", "not JSON: Extra data at line 1, column 2"),
    (b"True", "not JSON: Expecting value at line 1, column 1"),
    (b"// note\n{}", "not JSON: Expecting value at line 1, column 1"),
    (b'{"a": "\xff"}', "not UTF-8: byte 0xff at offset 7"),
    (b'"\xc3"', "not UTF-8: byte 0xc3 at offset 1"),
    (b'"\xed\xa0\x80"', "not UTF-8: byte 0xed at offset 1"),
    (b'"\xc0\xaf"', "not UTF-8: byte 0xc0 at offset 1"),
    ('{"a": 1}'.encode("utf-16"), "not UTF-8: byte 0xff at offset 0"),
    (b"\x1f\x8b\x08\x00", "not UTF-8: byte 0x8b at offset 1"),
    (b"NaN", "NaN is not a JSON number"),
    (b'{"a": -Infinity}', "-Infinity is not a JSON number"),
    (b"[Infinity]", "Infinity is not a JSON number"),
    (b"[1e400]", "1e400 is too large a number"),
    (b"-1.5e999", "-1.5e999 is too large a number"),
    (b"1" * 33, "a whole number of 33 digits"),
    (b"-" + b"1" * 33, "a whole number of 33 digits"),
    (b"9" * 5000, "a whole number of 5000 digits"),
    (b'{"on": true, "on": false}', "key 'on' twice in one object, so that it says two things"),
    (b'[{"a": {"b": 1, "b": 1}}]', "key 'b' twice in one object, so that it says two things"),
    (b'{"\\u0061": 1, "a": 2}', "key 'a' twice in one object, so that it says two things"),
    (b'{"%b":0,"%b":0}' % (LONG, LONG), f"key '{'k' * 80}' twice in one object, so that it says two things"),
    (b"[" * 33 + b"]" * 33, "nested deeper than 32"),
    (b'{"a":' * 33 + b"0" + b"}" * 33, "nested deeper than 32"),
    (b"[" * 10_000, "nested deeper than 32"),
    (b"[" * 500_000, "nested deeper than 32"),
    (b'{"a":' * 10_000 + b"0" + b"}" * 10_000, "nested deeper than 32"),
    (b'"' + b"x" * MAX_DOCUMENT_BYTES, "longer than 1048576 bytes"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "reason"), HOSTILE, ids=lambda value: repr(value)[:40])
def test_what_is_no_document_is_refused_with_the_reason(data: bytes, reason: str | None) -> None:
    with pytest.raises(UndecodableError) as caught:
        decode_json(data)

    if reason is None:  # the parser's words for it differ between versions of Python
        assert str(caught.value).startswith("not JSON: ")
    else:
        assert str(caught.value) == reason


LARGEST = [
    b"{" + b",".join(b'"%d":0' % number for number in range(90_000)) + b',"89999":0}',
    b"[]" * 40 + b'"' + b'\\"' * 500_000 + b"\\",
    b"[" + b",".join([b"[]"] * 349_000) + b"]",
    b"[0." + b"1" * 1_000_000 + b"]",
    b"[" + b"1" * 1_000_000 + b"]",
    b"[1e-" + b"9" * 1_000_000 + b"]",
    b'"' + b"\\u0000" * 174_000 + b'"',
    b"[" + b",".join([b'"]"'] * 250_000) + b"]",
    b"\n" * 1_000_000 + b"x",
]


@pytest.mark.parametrize("data", LARGEST, ids=lambda value: repr(value[:12] + value[-12:]))
def test_nothing_that_fits_the_limit_takes_long(data: bytes) -> None:
    """Each of these once took from seconds to hours, or looked as if it would. The loop stands still meanwhile."""
    assert len(data) <= MAX_DOCUMENT_BYTES
    started_at = time.process_time()

    with suppress(UndecodableError):
        decode_json(data)

    assert time.process_time() - started_at < 2


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (b"\xef\xbb\xbf[]", []),
        (b'"\\ud800"', "\ud800"),
        (b'"\\u0000\\u001b"', "\x00\x1b"),
        (b'{"a": null, "": false}', {"a": None, "": False}),
        (b"9223372036854775808", 2**63),
        (b"1" * 32, int("1" * 32)),
        (b"-" + b"1" * 32, -int("1" * 32)),
        (b"-0.0", -0.0),
        (b"1e-400", 0.0),
        (b"1.7976931348623157e308", 1.7976931348623157e308),
        (b"[" * 32 + b"]" * 32, None),
        (b'"' + b"[" * 1000 + b'"', "[" * 1000),
        (b'["[\\"[", "\\\\", [1]]', ['["[', "\\", [1]]),
        (b'"' + b"x" * (MAX_DOCUMENT_BYTES - 2) + b'"', "x" * (MAX_DOCUMENT_BYTES - 2)),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_what_is_odd_and_allowed_is_decoded(data: bytes, value: object) -> None:
    decoded = decode_json(data)

    assert decoded == (json.loads(data) if value is None else value)


SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(10**32) + 1, 10**32 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
)
DOCUMENTS = st.recursive(SCALARS, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=30)


def depth(value: object) -> int:
    if isinstance(value, dict | list):
        return 1 + max(map(depth, value.values() if isinstance(value, dict) else value), default=0)
    return 0


@given(DOCUMENTS.filter(lambda value: depth(value) <= 32), st.booleans(), st.none() | st.integers(0, 4))
def test_whatever_another_encoder_writes_is_decoded_to_the_same(
    document: object, ascii_only: bool, indent: int | None
) -> None:
    written = json.dumps(document, ensure_ascii=ascii_only, indent=indent)

    decoded = decode_json(written.encode("utf-8", "surrogatepass" if ascii_only else "strict"))

    assert decoded == document


@given(st.binary(max_size=200) | st.text(alphabet='{}[]",:\\0123eE+-.nulltrfasNI \n').map(str.encode))
def test_any_bytes_are_a_value_or_one_error(data: bytes) -> None:
    value: object = None
    with suppress(UndecodableError):
        value = decode_json(data)

    assert not isinstance(value, float) or math.isfinite(value)


def test_text_is_returned_as_it_is() -> None:
    assert decode_text("\ufeff21,5 °C\n".encode()) == "21,5 °C\n"
    assert decode_text(b"") == ""


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"ab\xfe", "not UTF-8: byte 0xfe at offset 2"),
        (b"x" * (MAX_DOCUMENT_BYTES + 1), "longer than 1048576 bytes"),
    ],
    ids=["not UTF-8", "too long"],
)
def test_text_that_is_none_is_refused_with_the_reason(data: bytes, reason: str) -> None:
    with pytest.raises(UndecodableError) as caught:
        decode_text(data)

    assert str(caught.value) == reason
