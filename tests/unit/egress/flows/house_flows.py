"""Flows of a house, as its router would export them. No tests here."""

import struct
from collections.abc import Sequence
from ipaddress import ip_address, ip_network

from pattress.model.site import Networks
from unit.egress.flows.export import flow_set, ipfix, template

_DEVICES = tuple(map(ip_network, ("192.0.2.0/24", "2001:db8:7::/64")))
NETWORKS = Networks(
    devices=_DEVICES,
    inside=(*_DEVICES, *map(ip_network, ("198.51.100.0/24", "2001:db8:8::/64"))),
    outside=tuple(map(ip_network, ("203.0.113.0/24", "2001:db8:bad::/48"))),
)
_REST = ((7, 2), (11, 2), (4, 1), (6, 1), (2, 8), (1, 8))
FIELDS = {4: ((8, 4), (12, 4), *_REST), 6: ((27, 16), (28, 16), *_REST)}


def flow(sender: str, receiver: str, ports: tuple[int, int] = (40000, 443), protocol: int = 6) -> bytes:
    """A record of `FIELDS`, for the IP version of the addresses."""
    ends = ip_address(sender).packed + ip_address(receiver).packed
    return ends + struct.pack("!HHBBQQ", *ports, protocol, 0x1B, 3, 180)


def export(records: Sequence[bytes], *, version: int = 4, sequence: int = 0) -> bytes:
    """An IPFIX message with the template and records, all of one IP version."""
    number = 300 + version
    return ipfix(template(number, FIELDS[version]), flow_set(number, b"".join(records)), sequence=sequence)
