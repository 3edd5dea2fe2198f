"""The sides of many addresses at once."""

from ipaddress import IPv4Address, IPv6Address, ip_network

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.space import Space
from pattress.egress.space_bulk import DEVICE, INSIDE, OUTSIDE, BulkSpace
from pattress.model.site import Networks
from unit.egress.sites import EDGES4, EDGES6, NETWORKS, numbers4, numbers6

SPACE = Space(NETWORKS)
BULK = BulkSpace(SPACE)
CODES = {"inside": INSIDE, "device": DEVICE, "outside": OUTSIDE}


@given(st.lists(numbers4, max_size=50))
def test_ipv4_sides_are_those_of_the_space(numbers: list[int]) -> None:
    assert _sides4(numbers) == [CODES[SPACE.side(IPv4Address(number))] for number in numbers]


@given(st.lists(numbers6, max_size=50))
def test_ipv6_sides_are_those_of_the_space(numbers: list[int]) -> None:
    assert _sides6(numbers) == [CODES[SPACE.side(IPv6Address(number))] for number in numbers]


def test_the_sides_are_right_at_every_edge() -> None:
    starts4 = {(start + step) % 2**32 for start, _ in SPACE.ranges(4) for step in (-1, 0, 1)} | set(EDGES4)
    starts6 = {(start + step) % 2**128 for start, _ in SPACE.ranges(6) for step in (-1, 0, 1)} | set(EDGES6)

    sides4, sides6 = _sides4(list(starts4)), _sides6(list(starts6))

    assert sides4 == [CODES[SPACE.side(IPv4Address(number))] for number in starts4]
    assert sides6 == [CODES[SPACE.side(IPv6Address(number))] for number in starts6]
    assert set(sides4) == set(sides6) == set(CODES.values())


@given(st.binary(min_size=16, max_size=16), st.binary(min_size=16, max_size=16))
def test_octets_are_ordered_as_addresses_are_whatever_zeros_they_end_in(one: bytes, other: bytes) -> None:
    pair = np.frombuffer(one + other, "S16")

    assert bool(pair[0] < pair[1]) == (int.from_bytes(one, "big") < int.from_bytes(other, "big"))
    assert int(np.searchsorted(pair[:1], pair[1:], side="right")[0]) == (one <= other)


def test_an_address_that_ends_in_zeros_is_not_taken_for_a_shorter_one() -> None:
    """NumPy hands `20 01 0d b8 00 00 …` over as four octets; what is compared are all sixteen."""
    space = Space(Networks(devices=(ip_network("2001:db8:0:0:8000::/65"),), inside=()))
    rows = np.frombuffer(b"".join(IPv6Address(text).packed for text in ("2001:db8::", "2001:db8:0:0:8000::")), "S16")

    sides = BulkSpace(space).sides6(rows)

    assert rows[0] == b"\x20\x01\x0d\xb8"
    assert sides.tolist() == [INSIDE, DEVICE]


def test_the_column_of_a_structured_array_is_taken_as_it_stands() -> None:
    records = np.zeros(3, np.dtype([("port", ">u2"), ("receiver", "S16"), ("sender", ">u4")]))
    records["receiver"] = [
        IPv6Address(text).packed for text in ("2001:db8:7::9", "64:ff9b::8.8.8.8", "64:ff9b:1::10.0.0.1")
    ]
    records["sender"] = [int(IPv4Address(text)) for text in ("192.0.2.9", "8.8.8.8", "10.0.0.1")]

    sides6, sides4 = BULK.sides6(records["receiver"]), BULK.sides4(records["sender"].astype(np.uint32))

    assert sides6.tolist() == sides4.tolist() == [DEVICE, OUTSIDE, INSIDE]


def test_what_is_not_sixteen_octets_long_is_refused() -> None:
    with pytest.raises(ValueError, match="16 octets"):
        BULK.sides6(np.array([b"abc"], "S4"))


def _sides4(numbers: list[int]) -> list[int]:
    sides: list[int] = BULK.sides4(np.array(numbers, np.uint32)).tolist()
    return sides


def _sides6(numbers: list[int]) -> list[int]:
    sides: list[int] = BULK.sides6(np.array([number.to_bytes(16, "big") for number in numbers], "S16")).tolist()
    return sides
