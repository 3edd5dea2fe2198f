"""Datagrams of flow export, octet by octet, for tests."""

import struct
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from ipaddress import ip_address

import numpy as np

from pattress.egress.flows.columns import Columns
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.tally import Tally
from pattress.model.encounter import Traffic

EXPORT_S = 1_800_000_000
NOW = datetime.fromtimestamp(EXPORT_S, UTC)
ROUTER, PORT = "192.0.2.1", 40_000
REVERSE = 29305

FieldTold = tuple[int, int] | tuple[int, int, int]
"""Element and length, and where it is no element of IANA's, the enterprise."""

PLAIN: list[FieldTold] = [(8, 4), (12, 4), (2, 4), (1, 4)]


def flow_set(number: int, content: bytes, *, padding: int = 0) -> bytes:
    return struct.pack("!HH", number, 4 + len(content) + padding) + content + bytes(padding)


def specified(fields: Iterable[FieldTold]) -> bytes:
    found = b""
    for element, length, *enterprise in fields:
        found += struct.pack("!HH", element | (0x8000 if enterprise else 0), length)
        found += b"".join(struct.pack("!I", number) for number in enterprise)
    return found


def template(number: int, fields: Sequence[FieldTold], *, kind: int = 2) -> bytes:
    """A set with one template; `kind` 0 is NetFlow v9's."""
    return flow_set(kind, struct.pack("!HH", number, len(fields)) + specified(fields))


def options_template(number: int, scope: Sequence[FieldTold], fields: Sequence[FieldTold]) -> bytes:
    """A set with one options template of IPFIX."""
    header = struct.pack("!HHH", number, len(scope) + len(fields), len(scope))
    return flow_set(3, header + specified(scope) + specified(fields))


def options_template9(number: int, scope: Sequence[FieldTold], fields: Sequence[FieldTold]) -> bytes:
    header = struct.pack("!HHH", number, 4 * len(scope), 4 * len(fields))
    return flow_set(1, header + specified(scope) + specified(fields))


def withdrawal(number: int, *, kind: int = 2) -> bytes:
    return flow_set(kind, struct.pack("!HH", number, 0))


def record(
    fields: Sequence[FieldTold], values: Mapping[int, int | str | bytes], reverse: Mapping[int, int] | None = None
) -> bytes:
    """One data record; what is not given is zero."""
    found = b""
    for element, length, *enterprise in fields:
        value = (reverse or {}).get(element, 0) if enterprise == [REVERSE] else values.get(element, 0)
        if isinstance(value, str):
            value = ip_address(value).packed
        found += value.to_bytes(length) if isinstance(value, int) else value
    return found


def plain_record(sender: str, receiver: str, packets: int = 1, octets: int = 100) -> bytes:
    return record(PLAIN, {8: sender, 12: receiver, 2: packets, 1: octets})


def ipfix_message(*sets: bytes, sequence: int = 0, domain: int = 1, export_s: int = EXPORT_S) -> bytes:
    body = b"".join(sets)
    return struct.pack("!HHIII", 10, 16 + len(body), export_s, sequence, domain) + body


def netflow9_message(
    *sets: bytes,
    sequence: int = 0,
    source_id: int = 1,
    export_s: int = EXPORT_S,
    uptime_ms: int = 3_600_000,
    count: int = 1,
) -> bytes:
    return struct.pack("!HHIIII", 9, count, uptime_ms, export_s, sequence, source_id) + b"".join(sets)


def netflow5_message(
    *records: bytes,
    sequence: int = 0,
    sampling: int = 0,
    export_s: int = EXPORT_S,
    uptime_ms: int = 3_600_000,
    engine: int = 0,
) -> bytes:
    header = struct.pack("!HHIIIIHH", 5, len(records), uptime_ms, export_s, 0, sequence, engine, sampling)
    return header + b"".join(records)


def record5(
    sender: str,
    receiver: str,
    *,
    packets: int = 1,
    octets: int = 100,
    first_ms: int = 0,
    last_ms: int = 0,
    sender_port: int = 0,
    receiver_port: int = 0,
    flags: int = 0,
    protocol: int = 6,
) -> bytes:
    return struct.pack(
        "!4s4s4sHHIIIIHHxBBBHHBBxx",
        ip_address(sender).packed,
        ip_address(receiver).packed,
        bytes(4),
        1,
        2,
        packets,
        octets,
        first_ms,
        last_ms,
        sender_port,
        receiver_port,
        flags,
        protocol,
        0,
        64500,
        64501,
        24,
        24,
    )


class Collector:
    """A decoder with the tally of its only sender."""

    def __init__(self, decoder: FlowDecoder | None = None) -> None:
        self.decoder = decoder or FlowDecoder()
        self.tally = Tally()

    def hear(self, *payloads: bytes, port: int = PORT, exporter: str = ROUTER, now: datetime = NOW) -> list[Columns]:
        return self.decoder.decode([(exporter, port, payload) for payload in payloads], now, lambda _: self.tally)

    def traffic(
        self,
        *payloads: bytes,
        port: int = PORT,
        exporter: str = ROUTER,
        now: datetime = NOW,
        is_after_filter: bool = False,
    ) -> list[Traffic]:
        found = self.hear(*payloads, port=port, exporter=exporter, now=now)
        return [
            traffic
            for columns in found
            for traffic in traffic_of(columns, np.arange(columns.count), "router", now, is_after_filter=is_after_filter)
        ]


def pairs(found: Iterable[Traffic]) -> list[tuple[str, str]]:
    return [(str(traffic.sender), str(traffic.receiver)) for traffic in found]
