"""UDP datagrams out of captured packets, put together again where they came in fragments.

What belongs here: the headers from the link to UDP. What does not: files of packets, what datagrams say. Checksums are
not looked at: what a host itself sent was often captured before its hardware had filled them in.
"""

import struct
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address
from typing import Final, NamedTuple

from pattress.egress.capture_files import Packet
from pattress.egress.tally import Tally
from pattress.model.addresses import IPAddress

MAX_FRAGMENTED: Final = 64  # datagrams of which not all has come, at most 64 KiB each: 4 MiB
MAX_FRAGMENTS: Final = 128  # of one datagram: 64 KiB in pieces of the least that every IPv4 host can take, 576
GIVEN_UP_AFTER: Final = timedelta(seconds=60)  # RFC 8200 section 4.5
MAX_HEADERS: Final = 8  # between IPv6 and UDP


class Datagram(NamedTuple):
    """The payload of a UDP datagram, and where it came from."""

    sender: IPAddress
    port: int
    at: datetime
    payload: bytes


def has_known_link(packet: Packet) -> bool:
    """Whether the link type of a packet is one that is read."""
    return packet.link_type in _LINKS


class Reassembly:
    """Takes packets and gives the UDP datagrams that start as told; what is missing of such counts as lost."""

    def __init__(self, starts: tuple[bytes, ...], tally: Tally) -> None:
        """Take beginnings of payloads, all of one length."""
        self._starts = starts
        self._tally = tally
        self._fragmented: dict[_Key, _Fragmented] = {}

    def take(self, packet: Packet) -> Datagram | None:
        """Return the datagram that a packet is, or completes; None where there is none."""
        found = _ip(packet)
        if found is None:
            return None
        if found.key is None:
            return self._datagram(found.sender, packet.at, found.content)
        return self._fragment(found.key, found, packet.at)

    def end(self) -> None:
        """Count as lost what was never completed."""
        for key in list(self._fragmented):
            self._give_up(key)

    def _fragment(self, key: "_Key", found: "_Ip", at: datetime) -> Datagram | None:
        known = self._fragmented.get(key)
        if known is not None and not timedelta() <= at - known.began_at <= GIVEN_UP_AFTER:
            self._give_up(key)
            known = None
        if known is None:
            if len(self._fragmented) >= MAX_FRAGMENTED:
                self._give_up(next(iter(self._fragmented)))
            known = self._fragmented[key] = _Fragmented(at)
        known.add(found)
        whole = known.whole()
        if whole is None:
            return None
        del self._fragmented[key]
        return self._datagram(found.sender, at, whole)

    def _give_up(self, key: "_Key") -> None:
        given_up = self._fragmented.pop(key)
        self._tally.lost += self._may_matter(given_up.parts.get(0, b""))

    def _datagram(self, sender: IPAddress, at: datetime, content: bytes) -> Datagram | None:
        length = _UDP.unpack_from(content)[2] if len(content) >= _UDP.size else _UDP.size
        if not _UDP.size <= length <= len(content):  # captured in part, or malformed
            self._tally.lost += self._may_matter(content)
            return None
        payload = content[_UDP.size : length]
        if not payload.startswith(self._starts):
            return None
        return Datagram(sender, _UDP.unpack_from(content)[0], at, payload)

    def _may_matter(self, content: bytes) -> bool:
        payload = content[_UDP.size :]
        return payload.startswith(self._starts) or len(payload) < len(self._starts[0])


class _Key(NamedTuple):
    """What fragments of one datagram have in common (RFC 791 section 3.2, RFC 8200 section 4.5)."""

    sender: bytes
    receiver: bytes
    number: int


class _Ip(NamedTuple):
    """What UDP is in an IP packet; `key` is None where that is all of it."""

    sender: IPAddress
    content: bytes
    key: _Key | None = None
    offset: int = 0
    is_last: bool = True


@dataclass(slots=True, eq=False)
class _Fragmented:
    """What has come of a datagram, of which nothing can come any more once it is spoilt."""

    began_at: datetime
    parts: dict[int, bytes] = field(default_factory=dict)
    length: int | None = None
    is_spoilt: bool = False

    def add(self, found: _Ip) -> None:
        """Take in a fragment. The same one twice is no fault, as when two interfaces heard it."""
        end = found.offset + len(found.content)
        if found.is_last:
            self.is_spoilt |= self.length not in (None, end)
            self.length = end
        self.is_spoilt |= end > 0xFFFF or not found.content or (not found.is_last and len(found.content) % 8 != 0)
        self.is_spoilt |= self.parts.get(found.offset, found.content) != found.content
        if len(self.parts) >= MAX_FRAGMENTS and found.offset not in self.parts:
            self.is_spoilt = True
        if self.is_spoilt:
            self.parts = {0: self.parts[0]} if 0 in self.parts else {}
        else:
            self.parts[found.offset] = found.content

    def whole(self) -> bytes | None:
        """All of it, once it is there without gaps. What overlaps is never whole (RFC 5722)."""
        if self.is_spoilt or self.length is None or sum(map(len, self.parts.values())) < self.length:
            return None
        joined = bytearray()
        for offset in sorted(self.parts):
            if offset != len(joined):
                return None
            joined += self.parts[offset]
        return bytes(joined) if len(joined) == self.length else None


def _ip(packet: Packet) -> _Ip | None:
    header_bytes, protocol_at = _LINKS[packet.link_type]
    octets, start = packet.octets, header_bytes
    if protocol_at is not None:
        kind = octets[protocol_at : protocol_at + 2]
        for _ in range(_MAX_TAGS):
            if kind not in _TAGS:
                break
            kind = octets[start + 2 : start + 4]
            start += 4
        if kind not in _IP_KINDS:
            return None
    version = octets[start] >> 4 if len(octets) > start else 0
    if version == 4:
        return _ipv4(octets, start)
    return _ipv6(octets, start) if version == 6 else None


def _ipv4(octets: bytes, start: int) -> _Ip | None:
    if len(octets) - start < _IPV4.size:
        return None
    first, length, number, fragment, protocol, sender, receiver = _IPV4.unpack_from(octets, start)
    header_bytes = (first & 0xF) * 4
    # A length of 0 is that of a packet which the hardware was to cut into pieces.
    end = start + length if length else len(octets)
    if header_bytes < _IPV4.size or end < start + header_bytes or protocol != _UDP_PROTOCOL:
        return None
    content = octets[start + header_bytes : end]
    address = IPv4Address(sender)
    offset, has_more = (fragment & 0x1FFF) * 8, bool(fragment & 0x2000)
    if not offset and not has_more:
        return _Ip(address, content)
    return _Ip(address, content, _Key(sender, receiver, number), offset, not has_more)


def _ipv6(octets: bytes, start: int) -> _Ip | None:
    if len(octets) - start < _IPV6.size:
        return None
    length, following, sender, receiver = _IPV6.unpack_from(octets, start)
    start += _IPV6.size
    octets = octets[: start + length]
    address = IPv6Address(sender).ipv4_mapped or IPv6Address(sender)
    key, offset, is_last = None, 0, True
    for _ in range(MAX_HEADERS):
        if following == _UDP_PROTOCOL:
            return _Ip(address, octets[start:], key, offset, is_last)
        if len(octets) - start < 8 or following not in _EXTENSIONS or offset:
            return None
        header = octets[start : start + 8]
        if following == _FRAGMENT:
            _, _, fragment, number = _FRAGMENT_HEADER.unpack(header)
            offset, is_last = fragment & 0xFFF8, not fragment & 1
            # One that is all of it is no fragment (RFC 6946).
            key = None if not offset and is_last else _Key(sender, receiver, number)
            start += 8
        else:
            start += (header[1] + 2) * 4 if following == _AUTHENTICATION else (header[1] + 1) * 8
        following = header[0]
    return None


# By the number of a link type: how long its header is, and where it names the protocol, which is None for bare IP.
# Source: the LINKTYPE_ values at tcpdump.org. 12 and 14 are what some systems write for 101.
_LINKS: dict[int, tuple[int, int | None]] = {
    0: (4, None),  # loopback of BSD
    1: (14, 12),  # Ethernet
    12: (0, None),
    14: (0, None),
    101: (0, None),  # IP
    108: (4, None),  # loopback of OpenBSD
    113: (16, 14),  # Linux, any interface
    228: (0, None),  # IPv4
    229: (0, None),  # IPv6
    276: (20, 0),  # Linux, any interface, version 2
}
_TAGS = (b"\x81\x00", b"\x88\xa8", b"\x91\x00")  # of virtual LANs
_MAX_TAGS = 2
_IP_KINDS = (b"\x08\x00", b"\x86\xdd")
_UDP_PROTOCOL, _FRAGMENT, _AUTHENTICATION = 17, 44, 51
_EXTENSIONS = (0, 43, _FRAGMENT, _AUTHENTICATION, 60)
_UDP = struct.Struct("!HHHH")
_IPV4 = struct.Struct("!BxHHHxBxx4s4s")
_IPV6 = struct.Struct("!4xHBx16s16s")
_FRAGMENT_HEADER = struct.Struct("!BBHI")
