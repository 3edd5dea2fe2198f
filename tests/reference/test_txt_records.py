"""DNS-SD TXT records against the words of RFC 6763 section 6, each with the section that it stands in."""

import pytest

from pattress.discovery.txt import parse_txt


@pytest.mark.parametrize(
    ("data", "expected", "source"),
    [
        pytest.param(
            bytes.fromhex("096b65793d76616c7565 0870617065723d4134 0770617373726571"),
            {"key": b"value", "paper": b"A4", "passreq": None},
            "RFC 6763 section 6.6: the example record",
            id="example",
        ),
        pytest.param(b"", {}, "RFC 6763 section 6.1: empty record data counts as one empty string", id="no-data"),
        pytest.param(b"\x00", {}, "RFC 6763 section 6.1: a single zero byte holds no attribute", id="zero-byte"),
        pytest.param(
            bytes.fromhex("00 00 03613d31"),
            {"a": b"1"},
            "RFC 6763 section 6.1: empty strings are ignored",
            id="empties",
        ),
        pytest.param(
            bytes.fromhex("043d626164 03613d31"),
            {"a": b"1"},
            "RFC 6763 section 6.4: a string that begins with '=' is silently ignored",
            id="missing-key",
        ),
        pytest.param(
            bytes.fromhex("03413d31 03613d32"),
            {"a": b"1"},
            "RFC 6763 section 6.4: case of a key is ignored, and the first counts",
            id="case-and-first",
        ),
        pytest.param(
            bytes.fromhex("03613d31 03613d32"),
            {"a": b"1"},
            "RFC 6763 section 6.4: the first of equal keys counts",
            id="first-wins",
        ),
        pytest.param(
            bytes.fromhex("0770617373726571 09706173737265713d31"),
            {"passreq": None},
            "RFC 6763 section 6.4: present without a value, and the first counts",
            id="first-without-value",
        ),
        pytest.param(
            bytes.fromhex("08706c7567696e733d"),
            {"plugins": b""},
            "RFC 6763 section 6.4: present with an empty value",
            id="empty-value",
        ),
        pytest.param(
            bytes.fromhex("076b3d613d623d63"),
            {"k": b"a=b=c"},
            "RFC 6763 section 6.4: the first '=' ends the key, further ones belong to the value",
            id="equals-in-value",
        ),
        pytest.param(
            b'\x06k= "x"' + b"\x03 m=",
            {"k": b' "x"', " m": b""},
            "RFC 6763 sections 6.4 and 6.5: spaces belong to the key, spaces and quotes to the value",
            id="quotes-and-spaces",
        ),
        pytest.param(
            bytes.fromhex("046b3dfffe"), {"k": b"\xff\xfe"}, "RFC 6763 section 6.5: a value is opaque bytes", id="bytes"
        ),
        pytest.param(
            b"\x05k\x01y=v" + b"\x03a=1",
            {"a": b"1"},
            "RFC 6763 section 6.4: the characters of a key are printable ASCII",
            id="control-in-key",
        ),
        pytest.param(
            bytes([255]) + b"k=" + b"v" * 253,
            {"k": b"v" * 253},
            "RFC 6763 section 6.1: a string may have 255 bytes",
            id="longest-string",
        ),
    ],
)
def test_a_txt_record_is_read_as_the_standard_says(data: bytes, expected: dict[str, bytes | None], source: str) -> None:
    attributes = parse_txt(data)

    assert attributes == expected, source


def test_absent_without_value_and_empty_are_three_different_facts() -> None:
    attributes = parse_txt(b"\x04flag" + b"\x06empty=")

    # RFC 6763 section 6.4: the four cases of an attribute.
    assert attributes["flag"] is None
    assert attributes["empty"] == b""
    assert "absent" not in attributes


def test_what_stands_after_1300_bytes_is_not_considered() -> None:
    strings = [b"%04d=%s" % (number, b"x" * 94) for number in range(20)]  # 100 bytes each with its length

    attributes = parse_txt(b"".join(bytes([len(string)]) + string for string in strings))

    # RFC 6763 section 6.2: a record over 1,300 bytes is not recommended.
    assert len(attributes) == 13
