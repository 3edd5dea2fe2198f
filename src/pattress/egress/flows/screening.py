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
from pattress.model.addresses import IPAddress, plain_address

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
    pairs = _paired(columns.sender[rows[is_call]], columns.receiver[rows[is_call]])
    known = _different(pairs)
    senders, receivers = _parted(known)
    keys = np.searchsorted(known, pairs) * _PORT_CODES + ports[is_call]
    is_for_many = _is_for_many(receivers, space)
    if is_for_many.any():
        keys = keys[~is_for_many[keys // _PORT_CODES]]
    keys = _different(keys)
    keys = keys[:: max(1, -(-len(keys) // MAX_CALLS))]
    numbers, ports = np.divmod(keys, _PORT_CODES)
    return list(
        zip(
            _addresses(senders[numbers]),
            _addresses(receivers[numbers]),
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


def _paired(senders: NDArray[Any], receivers: NDArray[Any]) -> NDArray[Any]:
    """Return one value for the two addresses of each row; its order is theirs."""
    if senders.dtype != _ADDRESS6:
        pairs: NDArray[Any] = senders.astype(np.uint64) << np.uint64(32) | receivers
        return pairs
    return np.stack((senders, receivers), axis=1).view("S32")[:, 0]


def _parted(pairs: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    if pairs.dtype != _ADDRESS6_PAIR:
        return (pairs >> np.uint64(32)).astype(np.uint32), pairs.astype(np.uint32)
    both = pairs.view(_ADDRESS6).reshape(-1, 2)
    return both[:, 0], both[:, 1]


def _different(values: NDArray[Any]) -> NDArray[Any]:
    """Return each value once, in order. `np.unique` does so, too, in three times the time."""
    ordered = np.sort(values)
    is_first = np.ones(len(ordered), np.bool_)
    is_first[1:] = ordered[1:] != ordered[:-1]
    return ordered[is_first]


def _is_for_many(receivers: NDArray[Any], space: BulkSpace) -> NDArray[np.bool_]:
    """Whether what is sent to an address is no call of one host: multicast, broadcast, or to no address at all."""
    is_special: NDArray[np.bool_]
    if receivers.dtype == _ADDRESS6:
        is_special = (receivers >= b"\xff") | (receivers == b"")
        return is_special
    is_special = (receivers >= _FIRST_MULTICAST) & (receivers <= _LAST_MULTICAST)
    is_special |= (receivers == 0) | (receivers == _EVERYBODY)
    # The broadcast address is the last of a network of four or more, and the only one of it that is no device's.
    is_special |= (receivers & 3 == 3) & (space.sides4(receivers) == INSIDE) & (space.sides4(receivers - 1) == DEVICE)
    return is_special


def _addresses(packed: NDArray[Any]) -> list[IPAddress]:
    """Return an address for each value; they are few, and most of them repeat."""
    values = packed.tolist()
    made: dict[Any, IPAddress] = {
        value: plain_address(IPv6Address(value.ljust(16, b"\0"))) if isinstance(value, bytes) else IPv4Address(value)
        for value in set(values)
    }
    return [made[value] for value in values]


_ADDRESS6, _ADDRESS6_PAIR = np.dtype("S16"), np.dtype("S32")
_PORT_CODES = 2**16 + 1
_NO_PORT = 2**16
_HAS_PORTS = np.isin(np.arange(256), (6, 17, 33, 132, 136))  # TCP, UDP, DCCP, SCTP, UDP-Lite
_FIRST_MULTICAST, _LAST_MULTICAST, _EVERYBODY = 0xE000_0000, 0xEFFF_FFFF, 0xFFFF_FFFF
