"""What is worth a closer look among flows in bulk: what concerns the outside, and whom devices call inside.

What belongs here: choosing rows by where their ends are. What does not: reading fields of the chosen rows, judging.
"""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pattress.egress.flows import fields
from pattress.egress.flows.columns import Columns
from pattress.egress.space_bulk import DEVICE, INSIDE, OUTSIDE, BulkSpace
from pattress.model.addresses import IPAddress

Call = tuple[IPAddress, IPAddress, int | None]
"""A device, the host of the inside that it called, and the port, or None where there are none."""

# Of the flows of one template in one batch, each handed on as three objects of some 200 bytes. Thirty devices that scan
# at once are still plain to see in as many.
MAX_CALLS: Final = 2_048


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Screened:
    """The `rows` between a device and the outside; `unmatched` counts those of the outside that have no device."""

    rows: NDArray[np.intp]
    unmatched: int
    calls: list[Call]


def screened(columns: Columns, space: BulkSpace) -> Screened:
    """Return which rows concern the outside, and the different calls of devices to hosts of the inside.

    Who sends to a lower port than his own is taken for the caller, as is who sends where there are no ports. Of more
    calls than `MAX_CALLS` an even share of each device is returned.
    """
    sides = space.sides4 if columns.version == 4 else space.sides6
    sender_sides, receiver_sides = sides(columns.sender), sides(columns.receiver)
    is_outside = (sender_sides == OUTSIDE) | (receiver_sides == OUTSIDE)
    is_device = (sender_sides == DEVICE) | (receiver_sides == DEVICE)
    between = np.flatnonzero(is_outside & is_device)
    inside = np.flatnonzero((sender_sides == DEVICE) & (receiver_sides != OUTSIDE))
    return Screened(
        rows=between,
        unmatched=int(np.count_nonzero(is_outside)) - len(between),
        calls=_calls(columns, space, inside) if inside.size else [],
    )


def _calls(columns: Columns, space: BulkSpace, rows: NDArray[np.intp]) -> list[Call]:
    is_call, ports = _called_ports(columns, rows)
    rows, ports = rows[is_call], ports[is_call]
    senders, sender_numbers = _numbered(columns.sender[rows])
    receivers, receiver_numbers = _numbered(columns.receiver[rows])
    # One number for the three. A batch of 8 MiB has fewer than 2^20 rows, so that this stays below 2^57.
    keys = (sender_numbers * max(1, len(receivers)) + receiver_numbers) * _PORT_CODES + ports
    hosts = np.flatnonzero(~_is_for_many(columns.version, receivers, space))
    if len(hosts) < len(receivers):
        keys = keys[np.isin(receiver_numbers, hosts)]
    keys = np.unique(keys)
    keys = keys[:: max(1, -(-len(keys) // MAX_CALLS))]
    pairs, ports = np.divmod(keys, _PORT_CODES)
    sender_numbers, receiver_numbers = np.divmod(pairs, max(1, len(receivers)))
    return list(
        zip(
            _addresses(senders, sender_numbers),
            _addresses(receivers, receiver_numbers),
            (None if port == _NO_PORT else port for port in ports.tolist()),
            strict=True,
        )
    )


def _called_ports(columns: Columns, rows: NDArray[np.intp]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Whether each row is a call, and the port that it is to, `_NO_PORT` where it has none."""
    own, called = columns.get(fields.SENDER_PORT), columns.get(fields.RECEIVER_PORT)
    if own is None or called is None:
        return np.ones(len(rows), np.bool_), np.full(len(rows), _NO_PORT, np.int64)
    own, called = own[rows], np.minimum(called[rows].astype(np.uint64), _NO_PORT).astype(np.int64)
    protocol = columns.get(fields.PROTOCOL)
    if protocol is None:
        return own > called, called
    has_ports = _HAS_PORTS[np.minimum(protocol[rows].astype(np.uint64), 255)]
    return ~has_ports | (own > called), np.where(has_ports, called, _NO_PORT)


def _numbered(addresses: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Return the different addresses in their order, and the number of each among them."""
    known = np.unique(addresses)
    return known, np.searchsorted(known, addresses).astype(np.int64)


def _is_for_many(version: int, receivers: NDArray[Any], space: BulkSpace) -> NDArray[np.bool_]:
    """Whether what is sent to an address is no call of one host: multicast, broadcast, or to no address at all."""
    is_special: NDArray[np.bool_]
    if version == 6:
        is_special = (receivers >= b"\xff") | (receivers == b"")
        return is_special
    is_special = (receivers >= _FIRST_MULTICAST) & (receivers <= _LAST_MULTICAST)
    is_special |= (receivers == 0) | (receivers == _EVERYBODY)
    # The broadcast address is the last of a network of four or more, and the only one of it that is no device's.
    is_special |= (receivers & 3 == 3) & (space.sides4(receivers) == INSIDE) & (space.sides4(receivers - 1) == DEVICE)
    return is_special


def _addresses(known: NDArray[Any], numbers: NDArray[np.int64]) -> list[IPAddress]:
    made = {number: _address(known[number]) for number in np.unique(numbers).tolist()}
    return [made[number] for number in numbers.tolist()]


def _address(packed: Any) -> IPAddress:
    return IPv6Address(packed.ljust(16, b"\0")) if isinstance(packed, bytes) else IPv4Address(int(packed))


_PORT_CODES = 2**16 + 1
_NO_PORT = 2**16
_HAS_PORTS = np.isin(np.arange(256), (6, 17, 33, 132, 136))  # TCP, UDP, DCCP, SCTP, UDP-Lite
_FIRST_MULTICAST, _LAST_MULTICAST, _EVERYBODY = 0xE000_0000, 0xEFFF_FFFF, 0xFFFF_FFFF
