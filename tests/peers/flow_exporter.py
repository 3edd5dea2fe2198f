"""Flow export by softflowd, from a capture that is written here, and its reading by nfcapd and nfdump.

What belongs here: making traffic, and running the programs. What does not: any claim about our own decoder.
"""

import json
import os
import signal
import socket
import subprocess
import time
from ipaddress import ip_address
from pathlib import Path
from typing import Any, Final

import dpkt

from peers.requirements import require_peer
from raw_server import LOOPBACK

DEADLINE_S = 10.0
HALL_MAC, ROUTER_MAC = bytes.fromhex("02005e005301"), bytes.fromhex("02005e0053fe")
SYN: Final = 0x02
SYN_ACK: Final = 0x12
PUSH_ACK: Final = 0x18
FIN_ACK: Final = 0x11
UDP_ONE_WAY: Final = 120  # so many flows with no answer: enough for several datagrams of each version


def write_capture(file: Path, began_s: float) -> None:
    """Write packets of answered and unanswered conversations, over IPv4 and IPv6, a few hundred flows in all."""
    with file.open("wb") as opened:
        writer = dpkt.pcap.Writer(opened)
        moment = began_s
        for number in range(UDP_ONE_WAY):
            for _ in range(1 + number % 3):
                _write(
                    writer, moment, "192.0.2.17", f"203.0.113.{1 + number % 200}", _udp(40_000 + number, 123, number)
                )
                moment += 0.01
        for number, (near, far) in enumerate([("192.0.2.18", "198.51.100.23"), ("2001:db8:7::18", "2001:db8:bad::23")]):
            for flags, size, is_back in (
                *((SYN, 0, False), (SYN_ACK, 0, True), (PUSH_ACK, 200, False), (PUSH_ACK, 1200, True)),
                *((PUSH_ACK, 10, False), (FIN_ACK, 0, False), (FIN_ACK, 0, True)),
            ):
                ports = (443, 50_000 + number) if is_back else (50_000 + number, 443)
                ends = (far, near) if is_back else (near, far)
                _write(
                    writer, moment, *ends, dpkt.tcp.TCP(sport=ports[0], dport=ports[1], flags=flags, data=bytes(size))
                )
                moment += 0.02
        _write(writer, moment, "192.0.2.18", "203.0.113.200", dpkt.tcp.TCP(sport=50_100, dport=8883, flags=SYN))
        _write(writer, moment, "192.0.2.19", "203.0.113.9", _echo(dpkt.icmp.ICMP_ECHO))
        _write(writer, moment, "203.0.113.9", "192.0.2.19", _echo(dpkt.icmp.ICMP_ECHOREPLY))
        for number in range(40):
            _write(writer, moment, "2001:db8:7::17", f"2001:db8:bad::{number + 1:x}", _udp(41_000 + number, 53, 30))


def export(capture: Path, folder: Path, *arguments: str) -> list[bytes]:
    """Return the datagrams that softflowd sends for a capture."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        receiver.bind((LOOPBACK, 0))
        port = receiver.getsockname()[1]
        subprocess.run(
            [
                *(require_peer("softflowd"), "-d", "-r", str(capture), "-n", f"{LOOPBACK}:{port}"),
                *("-c", "none", "-p", str(folder / "pid"), *arguments),
            ],
            check=True,
            capture_output=True,
            timeout=DEADLINE_S,
        )
        # Over loopback a datagram that was sent has arrived.
        receiver.setblocking(False)
        datagrams = []
        while True:
            try:
                datagrams.append(receiver.recv(65_535))
            except BlockingIOError:
                return datagrams


def read_with_nfdump(datagrams: list[bytes], folder: Path) -> list[dict[str, Any]]:
    """Return the records that nfdump prints of what nfcapd received."""
    nfdump = require_peer("nfdump")
    kept = folder / "kept"
    kept.mkdir()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind((LOOPBACK, 0))
            port = probe.getsockname()[1]
        collector = subprocess.Popen(
            [require_peer("nfcapd"), "-w", str(kept), "-b", LOOPBACK, "-p", str(port), "-B", "1000000"],
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "TZ": "UTC"},
        )
        assert collector.stderr is not None
        try:
            for line in collector.stderr:
                if line.startswith("Startup"):
                    break
            for datagram in datagrams:
                sender.sendto(datagram, (LOOPBACK, port))
                _wait_until_taken(port)
            collector.send_signal(signal.SIGTERM)
            collector.communicate(timeout=DEADLINE_S)
        finally:
            collector.kill()
            collector.wait()
    printed = subprocess.run(
        [nfdump, "-R", str(kept), "-o", "json"],
        check=True,
        capture_output=True,
        text=True,
        timeout=DEADLINE_S,
        env={**os.environ, "TZ": "UTC"},
    )
    records: list[dict[str, Any]] = json.loads(printed.stdout)
    return records


def _wait_until_taken(port: int) -> None:
    """Wait until nothing is left in the queue of a socket; the kernel tells that in no other way."""
    deadline = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline:
        for line in Path("/proc/net/udp").read_text().splitlines()[1:]:
            _, local, _, _, queues, *_ = line.split()
            if local.endswith(f":{port:04X}"):
                if int(queues.split(":")[1], 16) == 0:
                    return
                break
        else:
            raise AssertionError(f"nothing listens on port {port}")
        time.sleep(0.001)
    raise AssertionError("the collector does not read")


def _udp(sender_port: int, receiver_port: int, size: int) -> Any:
    return dpkt.udp.UDP(sport=sender_port, dport=receiver_port, ulen=8 + size, data=bytes(size))


def _echo(kind: int) -> Any:
    return dpkt.icmp.ICMP(type=kind, data=dpkt.icmp.ICMP.Echo(id=1, seq=1, data=b"quill"))


def _write(writer: Any, moment: float, sender: str, receiver: str, content: Any) -> None:
    near, far = ip_address(sender), ip_address(receiver)
    protocol = {dpkt.udp.UDP: 17, dpkt.tcp.TCP: 6, dpkt.icmp.ICMP: 1}[type(content)]
    if near.version == 4:
        packet = dpkt.ip.IP(src=near.packed, dst=far.packed, p=protocol, ttl=64, data=content)
        packet.len = len(packet)
    else:
        packet = dpkt.ip6.IP6(src=near.packed, dst=far.packed, nxt=protocol, hlim=64, plen=len(content), data=content)
    ethernet_type = dpkt.ethernet.ETH_TYPE_IP if near.version == 4 else dpkt.ethernet.ETH_TYPE_IP6
    frame = dpkt.ethernet.Ethernet(src=HALL_MAC, dst=ROUTER_MAC, type=ethernet_type, data=packet)
    writer.writepkt(bytes(frame), moment)
