"""Packets out of files of captured traffic, in both of the usual formats.

What belongs here: the files. What does not: what packets say. Every interface of a file keeps its own link type and its
own clock, and no length that a file states is believed beyond a bound. A last packet that is cut off, as when capturing
was ended by force, is counted as lost; what cannot be stepped over ends in an error.
Source: draft-ietf-opsawg-pcap, draft-ietf-opsawg-pcapng.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

from pattress.egress.tally import Tally
from pattress.model.errors import CaptureError

MAX_PACKET_BYTES: Final = 256 * 1024  # no program captures longer ones; the longest that IP knows have 64 KiB
MAX_BLOCK_BYTES: Final = 1024 * 1024  # of a block with a packet, or with anything else, which is stepped over
MAX_INTERFACES: Final = 1_024  # of a section, of 100 bytes each


class Packet(NamedTuple):
    """A packet as it was captured, which may be less of it than there was. `at` is by the capturing host's clock."""

    link_type: int
    at: datetime
    octets: bytes


def is_capture(start: bytes) -> bool:
    """Whether a file that starts so (four bytes are enough) is one of packets."""
    return start[:4] in _PCAP or start[:4] == _SECTION_BYTES


def packets_in(path: Path, tally: Tally) -> Iterator[Packet]:
    """Yield the packets of a file in their order.

    Raises:
        CaptureError: If the file is none of packets, or is malformed, once what stands before has been yielded.
        OSError: If it cannot be read.
    """
    with path.open("rb") as file:
        start = file.read(4)
        if start in _PCAP:
            yield from _pcap_packets(_Reading(path, file, tally), start)
        elif start == _SECTION_BYTES:
            file.seek(0)
            yield from _pcapng_packets(_Reading(path, file, tally))
        else:
            raise malformed(path, "it does not start as a file of captured packets does")


def malformed(path: Path, what: str) -> CaptureError:
    """Return the error for a file that cannot be what it was taken for."""
    return CaptureError(what, where=str(path), next_step="Capture the traffic anew, or write it anew to a pcap file")


@dataclass(slots=True, eq=False)
class _Reading:
    path: Path
    file: BinaryIO
    tally: Tally

    def take(self, count: int) -> bytes | None:
        """The next bytes, or None at the end. What is cut off there is counted."""
        taken = self.file.read(count)
        if len(taken) == count:
            return taken
        self.tally.lost += bool(taken)
        return None

    def rest(self, count: int) -> bytes | None:
        """Bytes that must follow, or None where the file was cut off before them, which is counted."""
        taken = self.file.read(count)
        if len(taken) == count:
            return taken
        self.tally.lost += 1
        return None

    def wrong(self, what: str) -> CaptureError:
        return malformed(self.path, f"{what} at byte {self.file.tell()}")


class _Pcap(NamedTuple):
    order: str
    ticks_a_second: int
    more_bytes: int  # of each packet's header, after the usual 16


@dataclass(frozen=True, slots=True, kw_only=True)
class _Interface:
    link_type: int
    ticks_a_second: int = 1_000_000
    offset_s: int = 0

    def moment(self, ticks: int) -> datetime | None:
        seconds, ticks = divmod(ticks, self.ticks_a_second)
        try:
            return _1970 + timedelta(seconds=seconds + self.offset_s, microseconds=ticks * 10**6 // self.ticks_a_second)
        except OverflowError:
            return None


def _pcap_packets(reading: _Reading, magic: bytes) -> Iterator[Packet]:
    order, ticks_a_second, more_bytes = _PCAP[magic]
    header = reading.file.read(_PCAP_HEADER_BYTES - len(magic))
    if len(header) < _PCAP_HEADER_BYTES - len(magic):
        raise reading.wrong("the header of the file is cut off")
    # The high bits may say how long a checksum at the end of each frame is; the length in the IP header leaves it out.
    link_type = struct.unpack_from(f"{order}I", header, _PCAP_HEADER_BYTES - 8)[0] & 0xFFFF
    interface = _Interface(link_type=link_type, ticks_a_second=ticks_a_second)
    while (start := reading.take(16 + more_bytes)) is not None:
        seconds, ticks, captured = struct.unpack_from(f"{order}3I", start)
        if captured > MAX_PACKET_BYTES:
            raise reading.wrong(f"a packet of {captured} bytes is said to follow")
        octets = reading.rest(captured)
        if octets is None:
            return
        at = interface.moment(seconds * ticks_a_second + ticks)
        assert at is not None  # noqa: S101 - 32 bits of seconds end in the year 2106
        yield Packet(interface.link_type, at, octets)


def _pcapng_packets(reading: _Reading) -> Iterator[Packet]:
    order, interfaces = "<", list[_Interface]()
    while (start := reading.take(8)) is not None:
        if start[:4] == _SECTION_BYTES:
            order, interfaces = _section_order(reading), []
        kind, length = struct.unpack(f"{order}2I", start)
        if not 12 <= length <= MAX_BLOCK_BYTES or length % 4:
            raise reading.wrong(f"a block of {length} bytes is said to follow")
        body = reading.rest(length - 8)
        if body is None:
            return
        if struct.unpack(f"{order}I", body[-4:])[0] != length:
            raise reading.wrong("a block ends with another length than it started with")
        body = body[:-4]
        if kind == _INTERFACE:
            if len(interfaces) == MAX_INTERFACES or len(body) < 8:
                raise reading.wrong("an interface is malformed, or one too many,")
            interfaces.append(_interface(body, order))
        elif kind in _WITH_PACKET:
            yield _packet(reading, body, order, kind, interfaces)


def _section_order(reading: _Reading) -> str:
    """Return the byte order of the section that starts here, and stay where it is told."""
    magic = reading.file.read(4)
    reading.file.seek(-len(magic), 1)
    if magic not in _SECTION_ORDERS:
        raise reading.wrong("a section states no byte order")
    return _SECTION_ORDERS[magic]


def _interface(body: bytes, order: str) -> _Interface:
    """Return an interface; an option that does not fit is left, and those behind it."""
    (link_type,) = struct.unpack_from(f"{order}H", body)
    ticks_a_second, offset_s = 1_000_000, 0
    at = 8
    while len(body) - at >= 4:
        option, length = struct.unpack_from(f"{order}2H", body, at)
        value = body[at + 4 : at + 4 + length]
        at += 4 + length + -length % 4
        if option == 0 or at > len(body):
            break
        if option == _RESOLUTION and length == 1:
            # The high bit says whether it is a power of 2 or of 10. 2^63 is the finest that 64 bits can still tell.
            ticks_a_second = 2 ** min(value[0] & 0x7F, 63) if value[0] & 0x80 else 10 ** min(value[0], 18)
        elif option == _OFFSET and length == 8:
            (offset_s,) = struct.unpack(f"{order}q", value)
    return _Interface(link_type=link_type, ticks_a_second=ticks_a_second, offset_s=offset_s)


def _packet(reading: _Reading, body: bytes, order: str, kind: int, interfaces: list[_Interface]) -> Packet:
    if len(body) < 20:
        raise reading.wrong("a block with a packet is malformed")
    number, high, low, captured = struct.unpack_from(f"{order}4I", body)
    if kind == _OLD_PACKET:  # two numbers of 16 bits, the second of packets that were dropped
        (number,) = struct.unpack_from(f"{order}H", body)
    if number >= len(interfaces) or captured > len(body) - 20:
        raise reading.wrong("a block with a packet is malformed")
    at = interfaces[number].moment(high << 32 | low)
    if at is None:
        raise reading.wrong("a packet has a time that cannot be")
    return Packet(interfaces[number].link_type, at, body[20 : 20 + captured])


_1970 = datetime(1970, 1, 1, tzinfo=UTC)
_PCAP_HEADER_BYTES = 24
_PCAP = {
    struct.pack(f"{order}I", number): _Pcap(order, ticks_a_second, more_bytes)
    for number, ticks_a_second, more_bytes in ((0xA1B2C3D4, 10**6, 0), (0xA1B23C4D, 10**9, 0), (0xA1B2CD34, 10**6, 8))
    for order in "<>"
}
_SECTION_BYTES = b"\x0a\x0d\x0d\x0a"  # the same in either byte order
_SECTION_ORDERS = {b"\x1a\x2b\x3c\x4d": ">", b"\x4d\x3c\x2b\x1a": "<"}
_INTERFACE, _OLD_PACKET, _NEW_PACKET = 1, 2, 6
_WITH_PACKET = (_OLD_PACKET, _NEW_PACKET)
_RESOLUTION, _OFFSET = 9, 14
