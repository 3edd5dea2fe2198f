"""The connection table of a Linux host over netlink, for kernels that do not show it as a file.

What belongs here: asking for the table, and messages of the kernel into evidence. What does not: the file
(`connections`), and what has changed. It is decoded here because the library that we use elsewhere takes three times
as long, which for the table of a busy router is a core.

Source: linux/netlink.h, linux/netfilter/nfnetlink.h and nfnetlink_conntrack.h.
"""

import ipaddress
import os
import socket
import struct
from collections.abc import Iterator
from datetime import datetime

from pattress.egress.connections import Connection
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Traffic

ANSWER_S = 5.0  # between two parts of the answer, which takes a second for 100,000 connections
RECEIVE_BYTES = 64 * 1024  # the kernel sends at most 32 KiB at once

Attributes = dict[int, bytes]


def connections(source: str, now: datetime) -> Iterator[Connection]:
    """Yield every connection that the kernel knows, raising OSError where it refuses. Blocks: for a thread."""
    with socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, _NETLINK_NETFILTER) as asked:
        asked.settimeout(ANSWER_S)
        asked.bind((0, 0))
        asked.send(_QUESTION)
        is_over = False
        while not is_over:
            records, is_over = connections_of(asked.recv(RECEIVE_BYTES), source, now)
            yield from records


def connections_of(data: bytes, source: str, now: datetime) -> tuple[list[Connection], bool]:
    """Return the connections that one datagram of the kernel tells, and whether it was the last."""
    records: list[Connection] = []
    start = 0
    while start + _HEADER.size <= len(data):
        length, kind = _HEADER.unpack_from(data, start)[:2]
        if length < _HEADER.size:
            break
        if kind == _DONE:
            return records, True
        if kind == _ERROR:
            (number,) = struct.unpack_from("=i", data.ljust(start + _HEADER.size + 4, b"\0"), start + _HEADER.size)
            raise OSError(-number, os.strerror(-number))
        if kind == _NEW:
            record = connection_of(data[start + _HEADER.size + _FAMILY_BYTES : start + length], source, now)
            if record is not None:
                records.append(record)
        start += (length + 3) & ~3
    return records, False


def connection_of(data: bytes, source: str, now: datetime) -> Connection | None:
    """Return the connection that the attributes of one message tell, or None where they tell none.

    Sender and receiver are those of `connections.connection_of`: who began, and who was really called.
    """
    connection = _attributes(data)
    there, back = (_tuple(connection.get(kind, b"")) for kind in (_TUPLE_THERE, _TUPLE_BACK))
    if there is None:
        return None
    sender, called, proto = there
    answerer = called if back is None else back[0]
    port = proto.get(_DESTINATION_PORT) if back is None or answerer == called else back[2].get(_SOURCE_PORT)
    status = connection.get(_STATUS)
    packets, octets = _counts(connection.get(_COUNTERS_THERE, b""))
    back_packets, back_octets = _counts(connection.get(_COUNTERS_BACK, b""))
    traffic = Traffic(
        source=source,
        at=now,
        sender=sender,
        receiver=answerer,
        protocol=_number(proto.get(_PROTOCOL)),
        sender_port=_number(proto.get(_SOURCE_PORT)),
        receiver_port=_number(port),
        icmp_type=_number(proto.get(_ICMP_TYPE, proto.get(_ICMP6_TYPE))),
        packets=packets,
        octets=octets,
        back_packets=back_packets,
        back_octets=back_octets,
        initiator="sender",
        is_answered=None if status is None else bool(int.from_bytes(status, "big") & _SEEN_REPLY),
    )
    return Connection(traffic, _number(connection.get(_EXPIRES)))


def _attributes(data: bytes) -> Attributes:
    """Return the attributes by their kind, without the bits that say how they are written."""
    found: Attributes = {}
    start = 0
    while start + 4 <= len(data):
        length, kind = _ATTRIBUTE.unpack_from(data, start)
        if length < 4:
            break
        found[kind & 0x3FFF] = data[start + 4 : start + length]
        start += (length + 3) & ~3
    return found


def _tuple(data: bytes) -> tuple[IPAddress, IPAddress, Attributes] | None:
    """Return the sender and the receiver of one direction, and what it says of the protocol."""
    parts = _attributes(data)
    addresses = _attributes(parts.get(1, b""))
    sender, receiver = _address(addresses, 1, 3), _address(addresses, 2, 4)
    if sender is None or receiver is None:
        return None
    return sender, receiver, _attributes(parts.get(2, b""))


def _address(addresses: Attributes, kind: int, kind_of_six: int) -> IPAddress | None:
    if len(four := addresses.get(kind, b"")) == 4:
        return ipaddress.IPv4Address(four)
    if len(six := addresses.get(kind_of_six, b"")) == 16:
        return ipaddress.IPv6Address(six)
    return None


def _counts(data: bytes) -> tuple[int, int]:
    counts = _attributes(data)
    return _number(counts.get(1)) or 0, _number(counts.get(2)) or 0


def _number(data: bytes | None) -> int | None:
    return None if data is None else min(int.from_bytes(data[:8], "big"), 2**63 - 1)  # the database keeps signed ones


_NETLINK_NETFILTER = 12
_HEADER = struct.Struct("=IHHII")  # length, kind, flags, sequence, port
_ATTRIBUTE = struct.Struct("=HH")  # length, kind
_FAMILY_BYTES = 4  # family, version, resource
_ERROR, _DONE = 2, 3
_NEW, _GET = 0x100, 0x101  # of the subsystem for connections
_REQUEST_DUMP = 0x301
_QUESTION = _HEADER.pack(_HEADER.size + _FAMILY_BYTES, _GET, _REQUEST_DUMP, 1, 0) + bytes(_FAMILY_BYTES)
_TUPLE_THERE, _TUPLE_BACK, _STATUS, _EXPIRES, _COUNTERS_THERE, _COUNTERS_BACK = 1, 2, 3, 7, 9, 10
_PROTOCOL, _SOURCE_PORT, _DESTINATION_PORT, _ICMP_TYPE, _ICMP6_TYPE = 1, 2, 3, 5, 8
_SEEN_REPLY = 0b10
