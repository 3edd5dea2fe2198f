"""Files of packets, held against dpkt, and against what hostile ones could do."""

import io
import struct
import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import dpkt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pattress.egress.capture_files import MAX_PACKET_BYTES, Packet, packets_in
from pattress.egress.tally import Tally
from pattress.model.errors import CaptureError
from unit.egress.captured_bytes import AT_S, IPFIX, ethernet, ip4, pcap, pcapng, udp

FRAME = ethernet(ip4(udp(IPFIX)))
AT = datetime.fromtimestamp(AT_S, UTC)


def block(kind: int, body: bytes, order: str = "<") -> bytes:
    length = 12 + len(body)
    return struct.pack(f"{order}2I", kind, length) + body + struct.pack(f"{order}I", length)


def section(order: str = "<") -> bytes:
    return block(0x0A0D0D0A, struct.pack(f"{order}IHHq", 0x1A2B3C4D, 1, 0, -1), order)


def interface(link_type: int = 1, options: bytes = b"", order: str = "<") -> bytes:
    return block(1, struct.pack(f"{order}HHI", link_type, 0, 65535) + options, order)


def enhanced(packet: bytes, ticks: int, *, number: int = 0, order: str = "<") -> bytes:
    header = struct.pack(f"{order}5I", number, ticks >> 32, ticks & 0xFFFFFFFF, len(packet), len(packet))
    return block(6, header + packet + bytes(-len(packet) % 4), order)


def packets(path: Path, tally: Tally | None = None) -> list[Packet]:
    return list(packets_in(path, tally or Tally()))


@pytest.mark.parametrize("write", [pcap, pcapng])
def test_what_dpkt_wrote_is_read_back(write: Callable[[Path, list[bytes]], Path], tmp_path: Path) -> None:
    path = write(tmp_path / "flows", [FRAME, b"\x00" * 61])

    found = packets(path)

    assert found == [Packet(1, AT, FRAME), Packet(1, AT + timedelta(seconds=1), b"\x00" * 61)]


def test_nanoseconds_are_told_from_microseconds(tmp_path: Path) -> None:
    path = pcap(tmp_path / "flows.pcap", [FRAME], is_nano=True)

    [found] = packets(path)

    assert found.at == AT


@pytest.mark.parametrize("order", ["<", ">"])
def test_either_byte_order_is_read(order: str, tmp_path: Path) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    header = struct.pack(f"{order}IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 113)
    old.write_bytes(header + struct.pack(f"{order}4I", 60, 250_000, 5, 5) + b"12345")
    new.write_bytes(section(order) + interface(276, order=order) + enhanced(b"12345", 60_250_000, order=order))

    found = packets(old) + packets(new)

    at = datetime(1970, 1, 1, 0, 1, 0, 250_000, UTC)
    assert found == [Packet(113, at, b"12345"), Packet(276, at, b"12345")]


def test_each_interface_keeps_its_own_link_type_and_clock(tmp_path: Path) -> None:
    nanoseconds = struct.pack("<HHB3x", 9, 1, 9)
    a_1024th = struct.pack("<HHB3x", 9, 1, 0x80 | 10)
    an_hour = struct.pack("<HHq", 14, 8, 3600)
    path = tmp_path / "flows.pcapng"
    path.write_bytes(
        section()
        + interface(1)
        + interface(276, nanoseconds + bytes(4))
        + interface(101, a_1024th + an_hour)
        + enhanced(b"first", 2_500_000)
        + enhanced(b"second", 2_500_000_000, number=1)
        + enhanced(b"third", 2560, number=2)
    )

    found = packets(path)

    at = datetime(1970, 1, 1, 0, 0, 2, 500_000, UTC)
    assert found == [
        Packet(1, at, b"first"),
        Packet(276, at, b"second"),
        Packet(101, at + timedelta(hours=1), b"third"),
    ]


def test_interfaces_are_numbered_anew_in_each_section(tmp_path: Path) -> None:
    path = tmp_path / "joined.pcapng"
    second = section(">") + interface(276, order=">") + enhanced(b"2", 0, order=">")
    path.write_bytes(section() + interface(1) + enhanced(b"1", 0) + second)

    found = packets(path)

    assert [(one.link_type, one.octets) for one in found] == [(1, b"1"), (276, b"2")]


def test_blocks_of_other_kinds_are_stepped_over(tmp_path: Path) -> None:
    path = tmp_path / "flows.pcapng"
    path.write_bytes(section() + block(4, bytes(8)) + interface() + block(5, bytes(12)) + enhanced(b"1", 0))

    assert [one.octets for one in packets(path)] == [b"1"]


@pytest.mark.parametrize("write", [pcap, pcapng])
def test_wherever_a_file_was_cut_off_the_packets_before_are_read(
    write: Callable[[Path, list[bytes]], Path], tmp_path: Path
) -> None:
    whole = write(tmp_path / "whole", [FRAME, FRAME]).read_bytes()
    second_at = whole.rindex(FRAME) - (16 if write is pcap else 28)
    path = tmp_path / "cut"

    for length in range(second_at, len(whole)):
        path.write_bytes(whole[:length])
        tally = Tally()
        found = packets(path, tally)

        assert [one.octets for one in found] == [FRAME]
        assert tally.lost == (length > second_at), length


def _too_long(tmp_path: Path) -> bytes:
    whole = pcap(tmp_path / "whole", [FRAME]).read_bytes()
    return whole[:32] + struct.pack("<I", MAX_PACKET_BYTES + 1) + whole[36:]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "does not start as a file of captured packets does"),
        (b"\xd4\xc3\xb2\xa1\x02\x00", "header of the file is cut off"),
        (section() + struct.pack("<II", 6, 0xFFFFFFFC) + b"1234", "a block of 4294967292 bytes"),
        (section() + struct.pack("<II", 6, 0) + b"1234", "a block of 0 bytes"),
        (section() + struct.pack("<II", 6, 7) + b"1234", "a block of 7 bytes"),
        (section() + block(1, b""), "an interface is malformed"),
        (section() + interface() + block(6, b"1234"), "a block with a packet is malformed"),
        (section() + interface() + enhanced(b"1", 0, number=1), "a block with a packet is malformed"),
        (section() + interface() + enhanced(b"1", 2**63), "a time that cannot be"),
        (section() + interface()[:-4] + bytes(4), "another length than it started with"),
        (b"\x0a\x0d\x0d\x0a" + bytes(24), "states no byte order"),
        (section() + interface() * 1025, "one too many"),
    ],
)
def test_what_is_malformed_is_said(content: bytes, what: str, tmp_path: Path) -> None:
    path = tmp_path / "flows"
    path.write_bytes(content)

    with pytest.raises(CaptureError, match=what) as raised:
        packets(path)

    assert str(path) in str(raised.value)


def test_a_length_that_cannot_be_is_not_believed(tmp_path: Path) -> None:
    path = tmp_path / "flows.pcap"
    path.write_bytes(_too_long(tmp_path))

    with pytest.raises(CaptureError, match="a packet of 262145 bytes is said to follow"):
        packets(path)


def test_a_file_that_states_the_greatest_lengths_takes_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "flows.pcap"
    path.write_bytes(pcap(tmp_path / "whole", [FRAME]).read_bytes()[:32] + struct.pack("<II", MAX_PACKET_BYTES, 1))

    tracemalloc.start()
    try:
        packets(path)
        peak_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert peak_bytes < 2 * MAX_PACKET_BYTES


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(st.tuples(st.integers(0, 10**4), st.integers(0, 255)), max_size=6),
    write=st.sampled_from([pcap, pcapng]),
    end=st.binary(max_size=40),
)
def test_no_change_of_bytes_does_worse_than_an_error(
    changes: list[tuple[int, int]], write: Callable[[Path, list[bytes]], Path], end: bytes, tmp_path: Path
) -> None:
    content = bytearray(write(tmp_path / "whole", [FRAME] * 3).read_bytes() + end)
    for at, value in changes:
        content[at % len(content)] = value
    path = tmp_path / "changed"
    path.write_bytes(content)

    try:
        found = packets(path)
    except CaptureError:
        found = []

    assert sum(len(one.octets) for one in found) <= len(content)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(frames=st.lists(st.binary(min_size=1, max_size=200), max_size=5), write=st.sampled_from([pcap, pcapng]))
def test_it_reads_what_dpkt_reads(
    frames: list[bytes], write: Callable[[Path, list[bytes]], Path], tmp_path: Path
) -> None:
    path = write(tmp_path / "flows", frames)

    found = packets(path)

    told = list(dpkt.pcap.UniversalReader(io.BytesIO(path.read_bytes())))
    assert [(one.at.timestamp(), one.octets) for one in found] == [(float(at), octets) for at, octets in told]
