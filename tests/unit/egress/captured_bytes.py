"""Packets and files of them, made by another program's library. No tests here."""

import struct
from collections.abc import Iterable
from ipaddress import ip_address
from pathlib import Path

import dpkt

EXPORTER, COLLECTOR = "192.0.2.1", "192.0.2.2"
EXPORTER6, COLLECTOR6 = "2001:db8:7::1", "2001:db8:7::2"
AT_S = 1_780_000_000.25
IPFIX = struct.pack("!HHIII", 10, 16, 1_780_000_000, 0, 1)


def udp(payload: bytes, ports: tuple[int, int] = (40000, 4739)) -> bytes:
    """A UDP datagram, for any IP."""
    return bytes(dpkt.udp.UDP(sport=ports[0], dport=ports[1], ulen=8 + len(payload), sum=1, data=payload))


def ip4(content: bytes, *, number: int = 1, offset: int = 0, has_more: bool = False, sender: str = EXPORTER) -> bytes:
    """An IPv4 packet with UDP, or with a part of it."""
    packet = dpkt.ip.IP(src=ip_address(sender).packed, dst=ip_address(COLLECTOR).packed, p=17, id=number)
    packet.data, packet.len = content, 20 + len(content)
    packet.mf, packet.offset = int(has_more), offset // 8
    return bytes(packet)


def ip6(content: bytes, *, following: int = 17) -> bytes:
    """An IPv6 packet."""
    ends = ip_address(EXPORTER6).packed + ip_address(COLLECTOR6).packed
    return struct.pack("!IHBB", 6 << 28, len(content), following, 64) + ends + content


def ip6_fragment(content: bytes, *, offset: int, has_more: bool, number: int = 7) -> bytes:
    """An IPv6 packet with a part of UDP."""
    return ip6(struct.pack("!BBHI", 17, 0, offset | has_more, number) + content, following=44)


def ethernet(packet: bytes, *, tags: bytes = b"") -> bytes:
    """A frame; `tags` are those of virtual LANs."""
    kind = b"\x08\x00" if packet[0] >> 4 == 4 else b"\x86\xdd"
    return bytes.fromhex("02005e005301 02005e005302") + tags + kind + packet


def pcap(path: Path, packets: Iterable[bytes], *, link_type: int = 1, is_nano: bool = False) -> Path:
    """A file of the older format; each packet one second after the one before."""
    with path.open("wb") as file:
        writer = dpkt.pcap.Writer(file, linktype=link_type, nano=is_nano)
        for second, packet in enumerate(packets):
            writer.writepkt(packet, AT_S + second)
    return path


def pcapng(path: Path, packets: Iterable[bytes], *, link_type: int = 1) -> Path:
    """A file of the newer format, likewise."""
    with path.open("wb") as file:
        writer = dpkt.pcapng.Writer(file, linktype=link_type)
        for second, packet in enumerate(packets):
            writer.writepkt(packet, AT_S + second)
    return path
