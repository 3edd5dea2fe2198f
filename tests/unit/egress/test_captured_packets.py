"""UDP datagrams out of packets that dpkt wrote, whole and in fragments."""

import struct
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.capture_files import Packet
from pattress.egress.captured_packets import GIVEN_UP_AFTER, MAX_FRAGMENTED, Datagram, Reassembly
from pattress.egress.tally import Tally
from unit.egress.captured_bytes import EXPORTER, EXPORTER6, IPFIX, ethernet, ip4, ip6, ip6_fragment, udp

AT = datetime(2026, 5, 28, 12, tzinfo=UTC)
LONG = IPFIX + bytes(range(256)) * 8
STARTS = (b"\x00\x0a",)


class Bench:
    """What comes of packets, and what is counted as lost once there are no more."""

    def __init__(self) -> None:
        self.tally = Tally()
        self._reassembly = Reassembly(STARTS, self.tally)
        self._found: list[Datagram] = []

    def take(self, packet: bytes, *, link_type: int = 1, at: datetime = AT) -> None:
        found = self._reassembly.take(Packet(link_type, at, packet))
        if found is not None:
            self._found.append(found)

    def end(self) -> list[Datagram]:
        self._reassembly.end()
        return self._found


def heard(*packets: bytes, link_type: int = 1) -> list[Datagram]:
    bench = Bench()
    for packet in packets:
        bench.take(packet, link_type=link_type)
    return bench.end()


SLL = struct.pack("!HHH8sH", 0, 1, 6, bytes(8), 0x0800)
SLL2 = struct.pack("!HHIHBB8s", 0x0800, 0, 2, 1, 0, 6, bytes(8))


@pytest.mark.parametrize(
    ("packet", "link_type"),
    [
        (ethernet(ip4(udp(IPFIX))), 1),
        (ethernet(ip4(udp(IPFIX)), tags=bytes.fromhex("81000014")), 1),
        (ethernet(ip4(udp(IPFIX)), tags=bytes.fromhex("88a8001481000015")), 1),
        (ethernet(ip4(udp(IPFIX)) + bytes(6)), 1),
        (SLL + ip4(udp(IPFIX)), 113),
        (SLL2 + ip4(udp(IPFIX)), 276),
        (ip4(udp(IPFIX)), 101),
        (ip4(udp(IPFIX)), 12),
        (ip4(udp(IPFIX)), 228),
        (b"\x02\x00\x00\x00" + ip4(udp(IPFIX)), 0),
        (b"\x00\x00\x00\x02" + ip4(udp(IPFIX)), 108),
    ],
)
def test_a_datagram_is_found_behind_every_link(packet: bytes, link_type: int) -> None:
    found = heard(packet, link_type=link_type)

    assert found == [Datagram(ip_address(EXPORTER), 40000, AT, IPFIX)]


@pytest.mark.parametrize(
    "packet",
    [
        ip6(udp(IPFIX)),
        ip6(bytes([17, 0, 1, 4, 0, 0, 0, 0]) + udp(IPFIX), following=0),
        ip6(bytes([60, 1]) + bytes(14) + bytes([17, 0]) + bytes(6) + udp(IPFIX), following=43),
        ip6(bytes([17, 4]) + bytes(22) + udp(IPFIX), following=51),
        ip6_fragment(udp(IPFIX), offset=0, has_more=False),
    ],
)
def test_a_datagram_is_found_behind_the_headers_of_ipv6(packet: bytes) -> None:
    found = heard(ethernet(packet)) + heard(packet, link_type=229)

    assert found == [Datagram(ip_address(EXPORTER6), 40000, AT, IPFIX)] * 2


def _fragments(content: bytes, size: int) -> list[tuple[int, bytes, bool]]:
    return [(at, content[at : at + size], at + size < len(content)) for at in range(0, len(content), size)]


def _in_pieces4(content: bytes, size: int = 800, number: int = 1) -> list[bytes]:
    pieces = _fragments(content, size)
    return [ethernet(ip4(part, number=number, offset=at, has_more=more)) for at, part, more in pieces]


def _in_pieces6(content: bytes, size: int = 800) -> list[bytes]:
    return [ethernet(ip6_fragment(part, offset=at, has_more=more)) for at, part, more in _fragments(content, size)]


@pytest.mark.parametrize("pieces", [_in_pieces4(udp(LONG)), _in_pieces6(udp(LONG))])
@given(drawn=st.data())
def test_fragments_in_any_order_and_repeated_make_one_datagram(pieces: Sequence[bytes], drawn: st.DataObject) -> None:
    order = drawn.draw(st.permutations(pieces))
    first_twice = [order[0], *order]

    found = heard(*first_twice)

    assert [one.payload for one in found] == [LONG]


def test_fragments_of_two_datagrams_are_kept_apart() -> None:
    other = IPFIX + bytes(2048)
    one, two = _in_pieces4(udp(LONG), number=1), _in_pieces4(udp(other), number=2)

    found = heard(*(piece for both in zip(one, two, strict=True) for piece in both))

    assert [one.payload for one in found] == [LONG, other]


@pytest.mark.parametrize("missing", [0, 1, 2])
def test_a_datagram_of_which_a_fragment_is_missing_is_lost(missing: int) -> None:
    bench = Bench()

    for number, piece in enumerate(_in_pieces4(udp(LONG))):
        if number != missing:
            bench.take(piece)

    assert bench.end() == []
    assert bench.tally.lost == 1


def test_fragments_that_overlap_make_nothing() -> None:
    whole = udp(LONG)
    bench = Bench()

    bench.take(ethernet(ip4(whole[:800], offset=0, has_more=True)))
    bench.take(ethernet(ip4(bytes(800), offset=792, has_more=True)))
    bench.take(ethernet(ip4(whole[800:], offset=800)))

    assert bench.end() == []
    assert bench.tally.lost == 1


def test_a_fragment_that_contradicts_another_makes_nothing() -> None:
    bench = Bench()

    first, second, last = _in_pieces4(udp(LONG))
    for piece in (first, first[:-1] + b"!", second, last):
        bench.take(piece)

    assert bench.end() == []
    assert bench.tally.lost == 1


def test_fragments_that_come_too_late_belong_to_another_datagram() -> None:
    bench = Bench()
    first, second, last = _in_pieces4(udp(LONG))

    bench.take(first)
    for piece in (first, second, last):
        bench.take(piece, at=AT + GIVEN_UP_AFTER + timedelta(seconds=1))

    assert [one.payload for one in bench.end()] == [LONG]
    assert bench.tally.lost == 1


def test_datagrams_that_wait_for_fragments_are_bounded_and_the_oldest_goes_first() -> None:
    bench = Bench()
    pieces = [_in_pieces4(udp(LONG), number=number) for number in range(MAX_FRAGMENTED + 1)]

    for first, *_ in pieces:
        bench.take(first)
    for piece in (*pieces[0][1:], *pieces[-1][1:]):
        bench.take(piece)

    assert len(bench.end()) == 1
    assert bench.tally.lost == MAX_FRAGMENTED + 1  # among them the rest of the first, whose beginning was given up


def test_fragments_of_something_else_are_no_loss() -> None:
    bench = Bench()

    bench.take(_in_pieces4(udp(b"\x12\x34" + bytes(2000)))[0])

    assert bench.end() == []
    assert bench.tally.lost == 0


@pytest.mark.parametrize(("payload", "lost"), [(LONG, 1), (b"\x12\x34" + bytes(2000), 0)])
def test_a_packet_that_was_captured_in_part_is_lost_where_it_would_matter(payload: bytes, lost: int) -> None:
    bench = Bench()

    bench.take(ethernet(ip4(udp(payload)))[:96])

    assert bench.end() == []
    assert bench.tally.lost == lost


@pytest.mark.parametrize(
    "packet",
    [
        b"",
        ethernet(ip4(udp(b""))),
        ethernet(ip4(udp(b"\x00"))),
        ethernet(ip4(udp(b"\x00\x01" + bytes(30)))),
        bytes(12) + b"\x08\x06" + bytes(28),
        bytes(12) + b"\x81\x00" * 4,
        ethernet(bytes([0x45]) + bytes(30)),
        ethernet(ip6(b"", following=59)),
        ethernet(ip6(bytes([0, 0]) + bytes(6), following=0) * 3),
        ethernet(ip4(udp(IPFIX)))[:20],
    ],
)
def test_what_is_no_flow_export_is_left(packet: bytes) -> None:
    bench = Bench()

    bench.take(packet)

    assert bench.end() == []
    assert bench.tally.lost == 0


@given(
    start=st.sampled_from([ethernet(ip4(udp(LONG))), _in_pieces4(udp(LONG))[0], ethernet(ip6(udp(IPFIX)))]),
    changes=st.lists(st.tuples(st.integers(0, 80), st.integers(0, 255)), max_size=8),
    length=st.integers(0, 3000),
    link_type=st.sampled_from([0, 1, 101, 113, 276]),
)
def test_no_packet_does_worse_than_be_lost(
    start: bytes, changes: list[tuple[int, int]], length: int, link_type: int
) -> None:
    packet = bytearray(start[:length])
    for at, value in changes:
        if at < len(packet):
            packet[at] = value
    bench = Bench()

    bench.take(bytes(packet), link_type=link_type)

    assert all(one.payload.startswith(STARTS) and len(one.payload) <= len(packet) for one in bench.end())
    assert bench.tally.lost <= 1
