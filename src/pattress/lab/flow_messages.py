"""Flows as the messages of flow export: what an emulated router sends.

What belongs here: IPFIX (RFC 7011, with RFC 5103 for both directions in one record), NetFlow v9 (RFC 3954) and v5.
What does not: sending them, and which flows there are. It reads no clock.
"""

import struct
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from pattress.model.addresses import IPAddress

Version = Literal[5, 9, 10]
"""NetFlow v5, NetFlow v9, IPFIX (RFC 7011 section 3.1: its version is 10)."""
Templates = Literal["when due", "always", "never"]

MAX_MESSAGE_OCTETS = 1_400  # fits an Ethernet frame with room for tunnels (RFC 7011 section 10.3.3: below the path MTU)
TEMPLATES_EVERY = timedelta(minutes=10)  # RFC 7011 section 8.4 asks UDP exporters to repeat them; the time is common
ICMP = (1, 58)
DENIED = 3  # firewallEvent, IANA element 233


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Packets that went from sender to receiver, and those that came `back`, where one record tells of both.

    `nat_` is what the router made of an end, where it tells. `is_denied` says that the router's filter dropped them.
    """

    sender: IPAddress
    receiver: IPAddress
    began_at: datetime
    ended_at: datetime
    protocol: int = 6
    sender_port: int = 0
    receiver_port: int = 0
    icmp_type: int = 0
    icmp_code: int = 0
    packets: int = 1
    octets: int = 60
    flags: int = 0
    back: tuple[int, int, int] | None = None  # packets, octets, TCP flags
    nat_sender: tuple[IPAddress, int] | None = None
    nat_receiver: tuple[IPAddress, int] | None = None
    sender_mac: str | None = None
    is_denied: bool | None = None


class FlowEncoder:
    """One exporting process: it counts what it sends, and repeats its templates.

    Args:
        version: The protocol.
        domain: The observation domain, source id or engine.
        started_at: When the process began; uptimes count from there.
        sampling: One packet in so many is looked at; told in an options record, or v5's header.
    """

    def __init__(
        self, *, version: Version = 10, domain: int = 1, started_at: datetime, sampling: int | None = None
    ) -> None:
        self._version: Version = version
        self._domain = domain
        self._started_at = started_at
        self._sampling = sampling
        self._sequence = 0
        self._known: dict[int, datetime] = {}

    def messages(self, flows: Sequence[Flow], at: datetime, *, templates: Templates = "when due") -> list[bytes]:
        """Return the messages that tell of flows, in their order. With no flows and `always`, templates alone.

        Raises:
            ValueError: If the protocol cannot tell of a flow.
        """
        if self._version == 5:
            return self._all_of_5(flows, at)
        made: list[bytes] = []
        by_shape: dict[int, list[Flow]] = {}
        for flow in flows:
            by_shape.setdefault(_shape(flow), []).append(flow)
        due = self._due(by_shape, at, templates)
        if due and self._sampling is not None:
            made.append(self._message([self._sampling_template(), self._sampling_record()], 1, at))
        if due:
            made.append(self._message([_set(self._template_set, b"".join(map(self._template, due)))], 0, at))
        for shape, alike in by_shape.items():
            for some in _fitting(alike, _record_octets(shape, self._version)):
                content = b"".join(self._record(shape, flow) for flow in some)
                made.append(self._message([_set(_FIRST_TEMPLATE + shape, content)], len(some), at))
        return made

    def _due(self, shapes: Iterable[int], at: datetime, templates: Templates) -> list[int]:
        """Return the shapes whose templates are to be told now, and take note of it."""
        if templates == "never":
            return []
        wanted = sorted({*shapes, *(self._known if templates == "always" else ())})
        if templates == "always" and not wanted:
            wanted = [0, _IPV6]
        due = [
            shape
            for shape in wanted
            if templates == "always" or shape not in self._known or at - self._known[shape] >= TEMPLATES_EVERY
        ]
        self._known.update(dict.fromkeys(due, at))
        return due

    @property
    def _template_set(self) -> int:
        return 2 if self._version == 10 else 0

    def _message(self, sets: Sequence[bytes], records: int, at: datetime) -> bytes:
        body = b"".join(sets)
        if self._version == 10:
            header = struct.pack("!HHIII", 10, 16 + len(body), _seconds(at), self._sequence, self._domain)
            self._sequence += records  # RFC 7011 section 3.1: data records sent before this message
        else:
            uptime = _milliseconds(at - self._started_at)
            count = max(records, 1)
            header = struct.pack("!HHIIII", 9, count, uptime, _seconds(at), self._sequence, self._domain)
            self._sequence += 1  # RFC 3954 section 5.1: packets
        self._sequence %= 2**32
        return header + body

    def _template(self, shape: int) -> bytes:
        fields = _fields(shape, self._version)
        if self._version == 9 and any(enterprise for _, _, enterprise in fields):
            raise ValueError("NetFlow v9 has no record for both directions")
        told = b"".join(_specifier(*field) for field in fields)
        return struct.pack("!HH", _FIRST_TEMPLATE + shape, len(fields)) + told

    def _record(self, shape: int, flow: Flow) -> bytes:
        back = flow.back or (0, 0, 0)
        made = flow.sender.packed + flow.receiver.packed
        made += struct.pack("!HHBBQQ", flow.sender_port, flow.receiver_port, flow.protocol, flow.flags, flow.packets,
                            flow.octets)  # fmt: skip
        if self._version == 10:
            made += struct.pack("!QQ", _milliseconds_of(flow.began_at), _milliseconds_of(flow.ended_at))
        else:
            made += struct.pack("!II", *self._uptimes_of(flow))
        if shape & _BOTH_WAYS:
            made += struct.pack("!QQB", back[0], back[1], back[2])
        if shape & _TRANSLATED:
            for address, port in (
                flow.nat_sender or (flow.sender, flow.sender_port),
                flow.nat_receiver or (flow.receiver, flow.receiver_port),
            ):
                made += address.packed + struct.pack("!H", port)
        if shape & _HARDWARE:
            made += bytes.fromhex((flow.sender_mac or "").replace(":", ""))
        if shape & _FILTERED:
            made += bytes([DENIED if flow.is_denied else 1])
        if shape & _ICMP:
            made += struct.pack("!BB", flow.icmp_type, flow.icmp_code)
        return made

    def _sampling_template(self) -> bytes:
        """An options template: of the whole domain, one packet is looked at, and so many are passed over after it."""
        if self._version == 10:
            content = struct.pack("!HHH", _SAMPLING_TEMPLATE, 3, 1)
            content += _specifier(149, 4) + _specifier(305, 4) + _specifier(306, 4)
            return _set(3, content)
        content = struct.pack("!HHH", _SAMPLING_TEMPLATE, 4, 4) + _specifier(1, 4) + _specifier(34, 4)
        return _set(1, content)

    def _sampling_record(self) -> bytes:
        sampling = self._sampling or 1
        told = (self._domain, 1, sampling - 1) if self._version == 10 else (self._domain, sampling)
        return _set(_SAMPLING_TEMPLATE, struct.pack(f"!{len(told)}I", *told))

    def _all_of_5(self, flows: Sequence[Flow], at: datetime) -> list[bytes]:
        made = []
        for start in range(0, len(flows), _MOST_OF_5):
            some = flows[start : start + _MOST_OF_5]
            # The two high bits are the mode: 1 is one packet after every so many.
            sampling = 0 if self._sampling is None else 1 << 14 | self._sampling
            uptime = _milliseconds(at - self._started_at)
            header = struct.pack("!HHIIIIHH", 5, len(some), uptime, _seconds(at), at.microsecond * 1000,
                                 self._sequence, self._domain, sampling)  # fmt: skip
            made.append(header + b"".join(self._record_of_5(flow) for flow in some))
            self._sequence = (self._sequence + len(some)) % 2**32
        return made

    def _record_of_5(self, flow: Flow) -> bytes:
        if _shape(flow) & ~_ICMP:
            raise ValueError("NetFlow v5 tells of one direction of IPv4, and of nothing beside it")
        # Where ICMP has no ports, routers put type and code into the receiver's.
        to_port = flow.icmp_type << 8 | flow.icmp_code if flow.protocol in ICMP else flow.receiver_port
        began, ended = self._uptimes_of(flow)
        return flow.sender.packed + flow.receiver.packed + struct.pack(
            "!4xHHIIIIHHxBBBHHBBxx", 1, 2, flow.packets, flow.octets, began, ended, flow.sender_port, to_port,
            flow.flags, flow.protocol, 0, 0, 0, 24, 24,
        )  # fmt: skip

    def _uptimes_of(self, flow: Flow) -> tuple[int, int]:
        return _milliseconds(flow.began_at - self._started_at), _milliseconds(flow.ended_at - self._started_at)


_FIRST_TEMPLATE = 256  # and above it the shape of the records, a bit for each group of fields
_IPV6, _BOTH_WAYS, _TRANSLATED, _HARDWARE, _FILTERED, _ICMP = 1, 2, 4, 8, 16, 32
_SAMPLING_TEMPLATE = 512
_REVERSE = 29305  # RFC 5103 section 6.1
_MOST_OF_5 = 30

_Field = tuple[int, int, int]


def _shape(flow: Flow) -> int:
    """Return which groups of fields a record of this flow has."""
    return (
        _IPV6 * (flow.sender.version == 6)
        | _BOTH_WAYS * (flow.back is not None)
        | _TRANSLATED * (flow.nat_sender is not None or flow.nat_receiver is not None)
        | _HARDWARE * (flow.sender_mac is not None)
        | _FILTERED * (flow.is_denied is not None)
        | _ICMP * (flow.protocol in ICMP)
    )


def _fields(shape: int, version: Version) -> list[_Field]:
    """Return the fields of a shape, each as element, length and enterprise."""
    ends = [(27, 16), (28, 16)] if shape & _IPV6 else [(8, 4), (12, 4)]
    moments = [(152, 8), (153, 8)] if version == 10 else [(22, 4), (21, 4)]
    made = [*ends, (7, 2), (11, 2), (4, 1), (6, 1), (2, 8), (1, 8), *moments]
    fields: list[_Field] = [(element, length, 0) for element, length in made]
    if shape & _BOTH_WAYS:
        fields += [(2, 8, _REVERSE), (1, 8, _REVERSE), (6, 1, _REVERSE)]
    if shape & _TRANSLATED:
        ends = [(281, 16), (282, 16)] if shape & _IPV6 else [(225, 4), (226, 4)]
        fields += [(*ends[0], 0), (227, 2, 0), (*ends[1], 0), (228, 2, 0)]
    if shape & _HARDWARE:
        fields.append((56, 6, 0))
    if shape & _FILTERED:
        fields.append((233, 1, 0))
    if shape & _ICMP:
        fields += [(178, 1, 0), (179, 1, 0)] if shape & _IPV6 else [(176, 1, 0), (177, 1, 0)]
    return fields


def _record_octets(shape: int, version: Version) -> int:
    return sum(length for _, length, _ in _fields(shape, version))


def _fitting(flows: Sequence[Flow], record_octets: int) -> Iterator[Sequence[Flow]]:
    """Yield flows in runs that fit one message beside its headers, of 20 octets at most and 4 for the set."""
    most = (MAX_MESSAGE_OCTETS - 24) // record_octets
    for start in range(0, len(flows), most):
        yield flows[start : start + most]


def _specifier(element: int, length: int, enterprise: int = 0) -> bytes:
    if enterprise:
        return struct.pack("!HHI", element | 0x8000, length, enterprise)
    return struct.pack("!HH", element, length)


def _set(number: int, content: bytes) -> bytes:
    padding = -len(content) % 4
    return struct.pack("!HH", number, 4 + len(content) + padding) + content + bytes(padding)


def _seconds(at: datetime) -> int:
    return int(at.timestamp())


def _milliseconds_of(at: datetime) -> int:
    return round(at.timestamp() * 1000)


def _milliseconds(span: timedelta) -> int:
    return round(span.total_seconds() * 1000) % 2**32
