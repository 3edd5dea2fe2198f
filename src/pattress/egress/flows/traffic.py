"""From chosen rows of columns to traffic, as evidence.

What belongs here: what the fields of a record come to. What does not: which rows are worth it.
"""

from collections.abc import Sequence
from datetime import datetime
from ipaddress import IPv4Address, IPv6Address
from typing import TYPE_CHECKING

from pattress.egress.flows import fields
from pattress.model.addresses import IPAddress, plain_address
from pattress.model.encounter import Side, Traffic, Verdict

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pattress.egress.flows.columns import Columns


def traffic_of(
    columns: "Columns", rows: "NDArray[np.intp]", source: str, now: datetime, *, is_after_filter: bool
) -> list[Traffic]:
    """Return what the chosen rows say, as evidence of `source`, in their order.

    Args:
        columns: Where the rows are.
        rows: Which of them.
        source: The name of the source in the site's files.
        now: By this host's clock.
        is_after_filter: Whether the source sees packets only once a filter has let them through.
    """
    told = _Told(columns, rows)
    macs = columns.pick_octets(fields.SENDER_MAC, rows) or [b""] * len(rows)
    senders, receivers = _addresses(columns, columns.sender[rows]), _addresses(columns, columns.receiver[rows])
    found = []
    for row, heard_at in enumerate(columns.heard_at(rows)):
        protocol = told.one(row, fields.PROTOCOL)
        icmp_type = _icmp_type(told, row, protocol)
        has_ports = protocol not in _ICMP
        packets, octets = told.first(row, _PACKETS) or 0, told.first(row, _OCTETS) or 0
        back_packets, back_octets = _back(told, row)
        found.append(
            Traffic(
                source=source,
                at=min(now, heard_at),
                sender=senders[row],
                receiver=receivers[row],
                protocol=protocol,
                sender_port=told.one(row, fields.SENDER_PORT) if has_ports else None,
                receiver_port=_receiver_port(told, row) if has_ports else None,
                icmp_type=icmp_type,
                packets=packets,
                octets=octets,
                back_packets=back_packets or 0,
                back_octets=back_octets or 0,
                flags=told.one(row, fields.TCP_FLAGS),
                back_flags=told.one(row, fields.TCP_FLAGS, is_reverse=True),
                verdict=_verdict(told, row, is_after_filter),
                initiator=_initiator(told, row),
                is_answered=None if back_packets is None else packets > 0 and back_packets > 0,
                sender_mac=_mac(macs[row]),
                sampling=_sampling(told, row, columns.sampling),
            )
        )
    return found


class _Told:
    """The fields of the chosen rows, each taken from the columns once, when it is first asked for."""

    def __init__(self, columns: "Columns", rows: "NDArray[np.intp]") -> None:
        self._columns = columns
        self._rows = rows
        self._taken: dict[tuple[int, bool], list[int] | None] = {}

    def one(self, row: int, element: int, is_reverse: bool = False) -> int | None:
        """A field of a row, or None where its template has no such field."""
        key = (element, is_reverse)
        if key not in self._taken:
            self._taken[key] = self._columns.pick(element, self._rows, is_reverse)
        values = self._taken[key]
        return None if values is None else values[row]

    def first(self, row: int, elements: Sequence[int], is_reverse: bool = False) -> int | None:
        """The first of several fields that say the same, or None."""
        for element in elements:
            value = self.one(row, element, is_reverse)
            if value is not None:
                return value
        return None


def _addresses(columns: "Columns", packed: "NDArray[np.generic]") -> list[IPAddress]:
    if columns.version == 4:
        return [IPv4Address(address) for address in packed.tolist()]
    # Exporters with one template for everything write IPv4 addresses as mapped ones.
    return [plain_address(IPv6Address(address.ljust(16, b"\0"))) for address in packed.tolist()]


def _receiver_port(told: _Told, row: int) -> int | None:
    """The port belongs to the receiver as the columns have it: after translation, where there was one."""
    return told.one(row, fields.TRANSLATED_RECEIVER_PORT) or told.one(row, fields.RECEIVER_PORT)


def _icmp_type(told: _Told, row: int, protocol: int | None) -> int | None:
    """Some exporters put type and code where the receiver's port would be, beside or instead of their own fields."""
    if protocol not in _ICMP:
        return None
    plain, with_code = _ICMP[protocol]
    value = told.one(row, plain)
    if value is not None:
        return value
    both, port = told.one(row, with_code), told.one(row, fields.RECEIVER_PORT)
    if not both and port is not None:
        both = port
    return None if both is None else both >> 8


def _back(told: _Told, row: int) -> tuple[int | None, int | None]:
    """Packets and octets of the opposite direction, None where the record is of one direction only."""
    packets, octets = told.first(row, _PACKETS, True), told.first(row, _OCTETS, True)
    if packets is not None or octets is not None:
        # A record that tells octets alone tells of at least one packet.
        return packets if packets is not None else min(1, octets or 0), octets
    packets = told.one(row, fields.RESPONDER_PACKETS)
    octets = told.one(row, fields.RESPONDER_OCTETS)
    return (packets if packets is not None or octets is None else min(1, octets)), octets


def _verdict(told: _Told, row: int, is_after_filter: bool) -> Verdict | None:
    event = told.one(row, fields.FIREWALL_EVENT)
    forwarding = (told.one(row, fields.FORWARDING) or 0) >> 6 & 0b11
    if event == 3 or forwarding == 2:
        return "dropped"
    if is_after_filter or event in (1, 2, 5) or forwarding == 1:
        return "let-through"
    return None


def _initiator(told: _Told, row: int) -> Side | None:
    direction = told.one(row, fields.BIFLOW_DIRECTION)
    if direction in (1, 2):
        return "sender" if direction == 1 else "receiver"
    # Records that count by who began, and those of a translation that was set up, have the one who did as their source.
    counts_by_initiator = told.first(row, (fields.INITIATOR_PACKETS, fields.INITIATOR_OCTETS)) is not None
    return "sender" if counts_by_initiator or told.one(row, fields.NAT_EVENT) in _TRANSLATIONS_BEGUN else None


def _sampling(told: _Told, row: int, of_stream: int) -> int:
    own = told.first(row, (fields.SAMPLING_INTERVAL, fields.SAMPLER_INTERVAL))
    return max(1, of_stream, own or 1)


def _mac(octets: bytes) -> str | None:
    return octets.hex(":") if any(octets) else None


# In order of trust: since the last report, which adds up; since the flow began; by who began.
_PACKETS = (fields.PACKETS, fields.PACKETS_IN_ALL, fields.INITIATOR_PACKETS)
_OCTETS = (fields.OCTETS, fields.OCTETS_IN_ALL, fields.INITIATOR_OCTETS)
_ICMP = {
    1: (fields.ICMP_TYPE_IPV4, fields.ICMP_TYPE_AND_CODE_IPV4),
    58: (fields.ICMP_TYPE_IPV6, fields.ICMP_TYPE_AND_CODE_IPV6),
}
_TRANSLATIONS_BEGUN = (1, 4, 6)  # IANA's natEvent: of any kind, from IPv4 to IPv4, from IPv6 to IPv4
