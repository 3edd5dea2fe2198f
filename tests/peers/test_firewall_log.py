"""Lines of the real kernel's packet filter, told back as the packets that were sent.

A device, a router that logs what it forwards in both styles, and a host outside are namespaces of their own.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from ipaddress import ip_address

import pytest

from pattress.egress.netfilter import FirewallLog
from pattress.model.encounter import Traffic
from pattress.model.watching import WatchSource
from peers.kernel_log import KernelLog, kernel_log
from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
DEADLINE_S = 10.0
DEVICE_MAC, OUTSIDE_MAC = "02:00:5e:00:53:07", "02:00:5e:00:53:09"
DEVICE, OUTSIDE = "192.0.2.7", "203.0.113.9"
DEVICE_6, OUTSIDE_6 = "2001:db8:2::7", "2001:db8:1::9"
PREFIX = f"test-{os.getpid()}"
SEND = """
import socket
for family, kind, local, address, port in (
    (socket.AF_INET, socket.SOCK_DGRAM, 40001, "203.0.113.9", 123),
    (socket.AF_INET6, socket.SOCK_DGRAM, 40002, "2001:db8:1::9", 123),
    (socket.AF_INET, socket.SOCK_STREAM, 40003, "203.0.113.9", 8883),
    (socket.AF_INET6, socket.SOCK_STREAM, 40004, "2001:db8:1::9", 8883),
):
    with socket.socket(family, kind) as one:
        one.bind(("", local))
        one.setblocking(False)
        if kind == socket.SOCK_DGRAM:
            one.sendto(b"x" * 48, (address, port))
        else:
            one.connect_ex((address, port))
"""
RULES = """
table inet test {{
    chain forward {{
        type filter hook forward priority 0; policy accept;
        log prefix "{prefix}-plain: "
        log prefix "{prefix}-all" flags all
        tcp dport 8883 drop
    }}
}}
"""
# What was sent, and what the host outside answers: nobody listens to its port 123.
PACKETS = {
    ("udp", DEVICE, OUTSIDE, 17, 40001, 123, None, None, 76, DEVICE_MAC),
    ("udp refused", OUTSIDE, DEVICE, 1, None, None, 3, None, 104, OUTSIDE_MAC),
    ("udp 6", DEVICE_6, OUTSIDE_6, 17, 40002, 123, None, None, 96, DEVICE_MAC),
    ("udp 6 refused", OUTSIDE_6, DEVICE_6, 58, None, None, 1, None, 144, OUTSIDE_MAC),
    ("tcp", DEVICE, OUTSIDE, 6, 40003, 8883, None, 0x02, 60, DEVICE_MAC),
    ("tcp 6", DEVICE_6, OUTSIDE_6, 6, 40004, 8883, None, 0x02, 80, DEVICE_MAC),
    ("ping", DEVICE, OUTSIDE, 1, None, None, 8, None, 84, DEVICE_MAC),
    ("pong", OUTSIDE, DEVICE, 1, None, None, 0, None, 84, OUTSIDE_MAC),
    ("ping 6", DEVICE_6, OUTSIDE_6, 58, None, None, 128, None, 104, DEVICE_MAC),
    ("pong 6", OUTSIDE_6, DEVICE_6, 58, None, None, 129, None, 104, OUTSIDE_MAC),
}
EXPECTED = {packet[1:] for packet in PACKETS}


@contextmanager
def house() -> Iterator[Namespace]:
    """A device behind a router with a packet filter, and a host outside. Given is the device."""
    with namespaces(3) as (device, router, outside):
        connect(device, "dev0", router, "iot0")
        connect(outside, "out0", router, "wan0")
        device.ip("link", "set", "dev0", "address", DEVICE_MAC)
        outside.ip("link", "set", "out0", "address", OUTSIDE_MAC)
        for host, name, addresses in (
            (device, "dev0", (f"{DEVICE}/24", f"{DEVICE_6}/64")),
            (router, "iot0", ("192.0.2.1/24", "2001:db8:2::1/64")),
            (router, "wan0", ("203.0.113.1/24", "2001:db8:1::1/64")),
            (outside, "out0", (f"{OUTSIDE}/24", f"{OUTSIDE_6}/64")),
        ):
            for address in addresses:
                host.ip("addr", "add", address, "dev", name)
        for host, gateways in ((device, ("192.0.2.1", "2001:db8:2::1")), (outside, ("203.0.113.1", "2001:db8:1::1"))):
            for gateway in gateways:
                host.ip("route", "add", "default", "via", gateway)
        router.run("sysctl", "-qw", "net.ipv4.ip_forward=1", "net.ipv6.conf.all.forwarding=1")
        router.run(require_peer("nft"), RULES.format(prefix=PREFIX))
        yield device


def told(log: KernelLog, expected: int) -> list[Traffic]:
    """Return what the log tells until each packet was told in both styles, or the deadline."""
    firewall = FirewallLog(
        WatchSource(
            name="kernel",
            kind="firewall",
            verdicts={f"{PREFIX}-plain": "let-through", f"{PREFIX}-all": "dropped", PREFIX: "dropped"},
        )
    )
    found: list[Traffic] = []
    for line in log.lines(PREFIX, DEADLINE_S):
        traffic = firewall.evidence(line, NOON)
        assert traffic is not None, line
        found.append(traffic)
        if len({(one.verdict, facts(one)) for one in found}) >= expected:
            break
    return found


def facts(one: Traffic) -> tuple[object, ...]:
    return (
        str(one.sender),
        str(one.receiver),
        one.protocol,
        one.sender_port,
        one.receiver_port,
        one.icmp_type,
        one.flags,
        one.octets,
        one.sender_mac,
    )


def test_the_kernels_lines_tell_the_packets_that_were_sent_in_both_styles() -> None:
    with kernel_log() as log, house() as device:
        device.run(sys.executable, "-c", SEND)
        for address in (OUTSIDE, OUTSIDE_6):
            device.run(require_peer("busybox"), "ping", "-c", "1", "-W", "5", address)

        traffic = told(log, 2 * len(EXPECTED))

    inside = {ip_address(DEVICE), ip_address(DEVICE_6)}
    between = [one for one in traffic if one.sender in inside or one.receiver in inside]
    assert {facts(one) for one in between if one.verdict == "let-through"} == EXPECTED
    assert {facts(one) for one in between if one.verdict == "dropped"} == EXPECTED
    assert {one.initiator for one in between if one.protocol == 6} == {"sender"}
