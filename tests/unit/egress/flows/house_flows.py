"""Flows of a house, as its router would export them. No tests here."""

import struct
from collections.abc import Sequence
from ipaddress import ip_address, ip_network

from pattress.model.site import Networks

_DEVICES = tuple(map(ip_network, ("192.0.2.0/24", "2001:db8:7::/64")))
NETWORKS = Networks(
    devices=_DEVICES,
    inside=(*_DEVICES, *map(ip_network, ("198.51.100.0/24", "2001:db8:8::/64"))),
    outside=tuple(map(ip_network, ("203.0.113.0/24", "2001:db8:bad::/48"))),
)
_REST = ((7, 2), (11, 2), (4, 1), (6, 1), (2, 8), (1, 8))
FIELDS = {4: ((8, 4), (12, 4), *_REST), 6: ((27, 16), (28, 16), *_REST)}


def message(*sets: bytes, sequence: int = 0, domain: int = 1, export_s: int = 1_780_000_000) -> bytes:
    """An IPFIX message (RFC 7011 section 3.1)."""
    body = b"".join(sets)
    return struct.pack("!HHIII", 10, 16 + len(body), export_s, sequence, domain) + body


def template(number: int, fields: Sequence[tuple[int, int]]) -> bytes:
    """A set with one template (RFC 7011 section 3.4.1)."""
    return data(2, [struct.pack("!HH", number, len(fields)), *(struct.pack("!HH", *one) for one in fields)])


def data(number: int, records: Sequence[bytes]) -> bytes:
    """A set of records."""
    joined = b"".join(records)
    return struct.pack("!HH", number, 4 + len(joined)) + joined


def flow(sender: str, receiver: str, ports: tuple[int, int] = (40000, 443), protocol: int = 6) -> bytes:
    """A record of `FIELDS`, for the IP version of the addresses."""
    ends = ip_address(sender).packed + ip_address(receiver).packed
    return ends + struct.pack("!HHBBQQ", *ports, protocol, 0x1B, 3, 180)


def export(records: Sequence[bytes], *, version: int = 4, sequence: int = 0) -> bytes:
    """An IPFIX message with the template and records, all of one IP version."""
    number = 300 + version
    return message(template(number, FIELDS[version]), data(number, records), sequence=sequence)
