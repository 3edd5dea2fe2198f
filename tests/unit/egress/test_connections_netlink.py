"""Messages of the kernel, written here as its headers lay them out. The kernel's own are in `tests/peers`."""

import errno
import ipaddress
import struct
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.connections_netlink import connections_of
from pattress.model.encounter import Traffic

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
NEW, DONE, ERROR = 0x100, 3, 2


def attribute(kind: int, value: bytes, *, is_nest: bool = False) -> bytes:
    head = struct.pack("=HH", 4 + len(value), kind | (0x8000 if is_nest else 0))
    return head + value + bytes(-len(value) % 4)


def direction(kind: int, sender: str, receiver: str, proto: bytes) -> bytes:
    addresses = [ipaddress.ip_address(one).packed for one in (sender, receiver)]
    first = 1 if len(addresses[0]) == 4 else 3
    ip = b"".join(attribute(first + number, packed) for number, packed in enumerate(addresses))
    return attribute(kind, attribute(1, ip, is_nest=True) + attribute(2, proto, is_nest=True), is_nest=True)


def ports(protocol: int, sender: int, receiver: int) -> bytes:
    return attribute(1, bytes([protocol])) + b"".join(
        attribute(kind, struct.pack(">H", port)) for kind, port in ((2, sender), (3, receiver))
    )


def counters(kind: int, packets: int, octets: int) -> bytes:
    counts = attribute(1, struct.pack(">Q", packets)) + attribute(2, struct.pack(">Q", octets))
    return attribute(kind, counts, is_nest=True)


def status(bits: int) -> bytes:
    return attribute(3, struct.pack(">I", bits))


def message(kind: int, body: bytes) -> bytes:
    return struct.pack("=IHHII", 16 + len(body), kind, 2, 1, 0) + body


def connection(*attributes: bytes) -> bytes:
    return message(NEW, struct.pack("=BBH", 2, 0, 0) + b"".join(attributes))


THERE = direction(1, "192.0.2.17", "203.0.113.9", ports(6, 40_000, 443))
BACK = direction(2, "203.0.113.9", "198.51.100.1", ports(6, 443, 40_000))


def the_one(data: bytes) -> Traffic:
    ([record], is_over) = connections_of(data, "router", NOON)
    assert not is_over
    return record.traffic


def test_a_translated_connection_has_its_first_sender() -> None:
    record = the_one(connection(THERE, BACK, status(0b1110), counters(9, 5, 500), counters(10, 4, 4_000)))

    assert record == Traffic(
        source="router",
        at=NOON,
        sender=ipaddress.ip_address("192.0.2.17"),
        receiver=ipaddress.ip_address("203.0.113.9"),
        protocol=6,
        sender_port=40_000,
        receiver_port=443,
        packets=5,
        octets=500,
        back_packets=4,
        back_octets=4_000,
        initiator="sender",
        is_answered=True,
    )


def test_a_port_that_is_let_in_has_the_device_that_answers_as_its_receiver() -> None:
    there = direction(1, "203.0.113.9", "198.51.100.1", ports(6, 40_000, 8_080))
    back = direction(2, "192.0.2.17", "203.0.113.9", ports(6, 80, 40_000))

    record = the_one(connection(there, back, status(0b10)))

    assert (str(record.sender), str(record.receiver), record.receiver_port) == ("203.0.113.9", "192.0.2.17", 80)


def test_a_connection_without_an_answer_is_unanswered_and_uncounted() -> None:
    record = the_one(connection(THERE, BACK, status(0b1000)))

    assert record.is_answered is False
    assert (record.packets, record.octets, record.back_packets) == (0, 0, 0)


def test_when_the_kernel_would_forget_it_is_told() -> None:
    telling = connection(THERE, BACK, attribute(7, struct.pack(">I", 431_999)))

    records, _ = connections_of(telling + connection(THERE, BACK), "router", NOON)

    assert [one.expires_s for one in records] == [431_999, None]


def test_an_icmp_connection_over_ipv6_has_a_type_and_no_ports() -> None:
    proto = attribute(1, b"\x3a") + attribute(8, b"\x80") + attribute(7, b"\x12\x34")
    there = direction(1, "fd20::7", "2001:db8:1::9", proto)

    record = the_one(connection(there, direction(2, "2001:db8:1::9", "fd20::7", proto), status(0)))

    assert (record.protocol, record.icmp_type, record.sender_port) == (58, 128, None)
    assert str(record.sender) == "fd20::7"


def test_the_last_message_ends_the_table() -> None:
    records, is_over = connections_of(connection(THERE, BACK) + message(DONE, bytes(4)), "router", NOON)

    assert len(records) == 1
    assert is_over


def test_a_refusal_is_an_error() -> None:
    refusal = message(ERROR, struct.pack("=i", -errno.EPERM) + bytes(16))

    with pytest.raises(PermissionError):
        connections_of(refusal, "router", NOON)


@given(st.binary(max_size=300))
def test_whatever_comes_is_no_crash(body: bytes) -> None:
    records, _ = connections_of(message(NEW, body) + body, "router", NOON)

    assert len(records) <= 1 + len(body) // 16


@given(st.data())
def test_a_damaged_message_is_no_crash(data: st.DataObject) -> None:
    whole = bytearray(connection(THERE, BACK, status(0b1110), counters(9, 5, 500), counters(10, 4, 4_000)))
    for _ in range(data.draw(st.integers(1, 8))):
        whole[data.draw(st.integers(16, len(whole) - 1))] = data.draw(st.integers(0, 255))

    records, _ = connections_of(bytes(whole[: data.draw(st.integers(0, len(whole)))]), "router", NOON)

    assert len(records) <= 1
