"""IPFIX of a house as a router would export it: datagrams of the usual size, with about 1 % of flows to the outside."""

import random
import struct
from collections.abc import Iterator, Sequence
from ipaddress import ip_network

from pattress.model.site import Networks

_DEVICES = (ip_network("192.0.2.0/24"),)
HOUSE = Networks(
    devices=_DEVICES, inside=(*_DEVICES, ip_network("198.51.100.0/24")), outside=(ip_network("203.0.113.0/24"),)
)
OUTSIDE_SHARE = 0.01
DEVICES = 60
TEMPLATE = 300
FIELDS = (
    *((8, 4), (12, 4), (7, 2), (11, 2), (4, 1), (6, 1), (5, 1), (10, 4), (14, 4)),  # ends, protocol, flags, interfaces
    *((2, 8), (1, 8), (152, 8), (153, 8)),  # packets and octets, first and last
)  # fmt: skip
RECORDS_A_DATAGRAM = 25  # 1,391 octets, which fit Ethernet
TEMPLATE_EVERY = 100  # datagrams
EXPORT_S = 1_780_000_000
_HEADER = struct.Struct("!HHIII")
_SEQUENCE = struct.Struct("!I")
_SEQUENCE_AT = 8
_RECORD = struct.Struct("!4s4sHHBBBIIQQQQ")


def datagrams(count: int) -> list[bytes]:
    """Return messages with about so many records, always the same; each has as many as the others."""
    numbers = random.Random(20260528)
    found = []
    for number in range(-(-count // RECORDS_A_DATAGRAM)):
        records = b"".join(_record(numbers) for _ in range(RECORDS_A_DATAGRAM))
        sets = _template() if number % TEMPLATE_EVERY == 0 else b""
        sets += struct.pack("!HH", TEMPLATE, 4 + len(records)) + records
        header = _HEADER.pack(10, _HEADER.size + len(sets), EXPORT_S, number * RECORDS_A_DATAGRAM, 1)
        found.append(header + sets)
    return found


def outside_rows(messages: Sequence[bytes]) -> int:
    """Return how many records are of the outside, counted in the octets themselves."""
    prefix = bytes((203, 0, 113))
    return sum(
        message[at : at + 3] == prefix or message[at + 4 : at + 7] == prefix
        for message in messages
        for at in range(len(message) - RECORDS_A_DATAGRAM * _RECORD.size, len(message), _RECORD.size)
    )


def endless(messages: Sequence[bytes]) -> Iterator[bytearray]:
    """Yield the messages again and again, with sequence numbers that go on; each is changed after it was sent."""
    prepared = [bytearray(message) for message in messages]
    sequence = 0
    while True:
        for message in prepared:
            _SEQUENCE.pack_into(message, _SEQUENCE_AT, sequence)
            yield message
            sequence = (sequence + RECORDS_A_DATAGRAM) % 2**32


def _template() -> bytes:
    record = struct.pack("!HH", TEMPLATE, len(FIELDS)) + b"".join(struct.pack("!HH", *field) for field in FIELDS)
    return struct.pack("!HH", 2, 4 + len(record)) + record


def _record(numbers: random.Random) -> bytes:
    device = bytes((192, 0, 2, 10 + numbers.randrange(DEVICES)))
    port = numbers.choice((53, 123, 80, 1883))
    other = bytes((198, 51, 100, numbers.choice((1, 1, 1, 5, 6))))
    if numbers.random() < OUTSIDE_SHARE:
        other, port = bytes((203, 0, 113, numbers.randrange(1, 255))), 443
    ends, ports = [device, other], [numbers.randrange(32768, 61000), port]
    if numbers.random() < 0.5:
        ends.reverse()
        ports.reverse()
    packets = numbers.randrange(1, 50)
    began_ms = EXPORT_S * 1000 - numbers.randrange(60_000)
    protocol = 17 if port in (53, 123) else 6
    return _RECORD.pack(*ends, *ports, protocol, 0x1B, 0, 3, 4, packets, packets * 120, began_ms, EXPORT_S * 1000)
