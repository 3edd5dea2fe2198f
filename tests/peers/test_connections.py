"""The connection table of a real router: a device behind translated addresses, and hosts outside."""

import json
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

LISTENER = Path(__file__).with_name("connections_listener.py")
ANSWER_S = 20.0
DEVICE, OUTSIDE = "10.20.0.7", "203.0.113.9"
TABLE, NETLINK = "/proc/net/nf_conntrack", "/proc/no-such-table"
RULES = """
table ip nat {
  chain leaving { type nat hook postrouting priority 100; oifname "wan0" masquerade; }
  chain coming { type nat hook prerouting priority -100; iifname "wan0" tcp dport 8080 dnat to 10.20.0.7:80; }
}
"""
SEND = "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.sendto(b'x' * 48, ('{to}', {port}))"
ANSWER = (
    "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.bind(('0.0.0.0', {port}));"
    " print('ready', flush=True)\nwhile True: d, a = s.recvfrom(100); s.sendto(d, a)"
)
ASK = (
    "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.settimeout(10);"
    " s.sendto(b'x' * 48, ('{to}', {port})); s.recv(100)"
)
SERVE = (
    "import socket; s = socket.create_server(('0.0.0.0', {port})); print('ready', flush=True)\n"
    "while True: c, a = s.accept(); c.sendall(b'hello'); c.close()"
)
CALL = "import socket; s = socket.create_connection(('{to}', {port}), 10); s.recv(100)"


@dataclass(frozen=True, slots=True)
class House:
    device: Namespace
    router: Namespace
    outside: Namespace


@pytest.fixture
def house() -> Iterator[House]:
    require_peer("nft")
    with namespaces(3) as (device, router, outside):
        connect(device, "d0", router, "iot0")
        connect(router, "wan0", outside, "w0")
        device.ip("addr", "add", f"{DEVICE}/24", "dev", "d0")
        router.ip("addr", "add", "10.20.0.1/24", "dev", "iot0")
        router.ip("addr", "add", "203.0.113.1/24", "dev", "wan0")
        outside.ip("addr", "add", f"{OUTSIDE}/24", "dev", "w0")
        device.ip("route", "add", "default", "via", "10.20.0.1")
        router.run("sysctl", "-qw", "net.ipv4.ip_forward=1", "net.netfilter.nf_conntrack_acct=1")
        router.run(require_peer("nft"), RULES)
        yield House(device, router, outside)


class Watch:
    """What the watch on the router says, line by line."""

    def __init__(self, process: "subprocess.Popen[bytes]") -> None:
        self._process = process
        self._rest = b""
        self.said: list[dict[str, Any]] = []

    def until(self, **wanted: object) -> dict[str, Any]:
        """Return the first line that has these values."""
        deadline = time.monotonic() + ANSWER_S
        while True:
            for one in self.said:
                if wanted.items() <= one.items():
                    return one
            self._read(deadline - time.monotonic(), wanted)

    def _read(self, seconds: float, wanted: object) -> None:
        assert self._process.stdout is not None
        ready, _, _ = select.select([self._process.stdout], [], [], max(0, seconds))
        assert ready, f"{wanted} did not come: {self.said}"
        data = self._process.stdout.read1(65536)  # type: ignore[attr-defined]
        assert data, f"the watch ended: {self.said}"
        *lines, self._rest = (self._rest + data).split(b"\n")
        self.said += map(json.loads, lines)


@contextmanager
def watching(house: House, table: str, *prefix: str) -> Iterator[Watch]:
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with house.router.running(*prefix, sys.executable, str(LISTENER), table, **pipes) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        with process.stdin, process.stdout:
            yield Watch(process)


@contextmanager
def serving(host: Namespace, script: str) -> Iterator[None]:
    with host.running(sys.executable, "-c", script, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        with process.stdout:
            assert process.stdout.readline() == b"ready\n"
            yield


@pytest.mark.parametrize("table", [TABLE, NETLINK], ids=["file", "netlink"])
def test_a_translated_connection_is_told_with_the_device_and_whether_it_was_answered(house: House, table: str) -> None:
    with watching(house, table) as watch, serving(house.outside, ANSWER.format(port=123)):
        house.device.run(sys.executable, "-c", ASK.format(to=OUTSIDE, port=123))
        house.device.run(sys.executable, "-c", SEND.format(to="203.0.113.77", port=124))
        answered = watch.until(receiver_port=123, is_answered=True)
        unanswered = watch.until(receiver_port=124)

    assert answered["sender"] == unanswered["sender"] == DEVICE
    assert (answered["receiver"], unanswered["receiver"]) == (OUTSIDE, "203.0.113.77")
    assert (answered["protocol"], answered["initiator"]) == (17, "sender")
    assert unanswered["is_answered"] is False
    assert (unanswered["packets"], unanswered["octets"], unanswered["back_packets"]) == (1, 76, 0)
    told = [one for one in watch.said if one.get("receiver_port") == 123]
    assert sum(one["packets"] for one in told) == sum(one["back_packets"] for one in told) == 1
    assert sum(one["octets"] for one in told) == sum(one["back_octets"] for one in told) == 76


@pytest.mark.parametrize("table", [TABLE, NETLINK], ids=["file", "netlink"])
def test_a_call_from_outside_through_an_opened_port_is_told_with_the_device(house: House, table: str) -> None:
    with watching(house, table) as watch, serving(house.device, SERVE.format(port=80)):
        house.outside.run(sys.executable, "-c", CALL.format(to="203.0.113.1", port=8080))
        called = watch.until(sender=OUTSIDE, is_answered=True)

    assert (called["receiver"], called["receiver_port"], called["protocol"]) == (DEVICE, 80, 6)


@pytest.mark.parametrize("table", [TABLE, NETLINK], ids=["file", "netlink"])
def test_without_counts_reached_is_told_from_tried_and_the_source_is_in_order(house: House, table: str) -> None:
    house.router.run("sysctl", "-qw", "net.netfilter.nf_conntrack_acct=0")
    with (
        watching(house, table) as watch,
        serving(house.outside, ANSWER.format(port=123)),
        serving(house.outside, SERVE.format(port=443)),
    ):
        house.device.run(sys.executable, "-c", ASK.format(to=OUTSIDE, port=123))
        house.device.run(sys.executable, "-c", CALL.format(to=OUTSIDE, port=443))
        house.device.run(sys.executable, "-c", SEND.format(to="203.0.113.77", port=124))
        answered = [watch.until(receiver_port=port, is_answered=True) for port in (123, 443)]
        unanswered = watch.until(receiver_port=124)
        while not any("note" in one for one in watch.said):
            watch._read(ANSWER_S, "note")

    assert all(one["packets"] == one["octets"] == one["back_packets"] == 0 for one in (*answered, unanswered))
    assert unanswered["is_answered"] is False
    assert not [one for one in watch.said if one.get("receiver_port") == 124 and one["is_answered"]]
    [note] = [one["note"] for one in watch.said if "note" in one]
    assert note.startswith("router: how many packets and octets a connection had is not counted")
    troubles = [one["trouble"] for one in watch.said if "trouble" in one]
    assert all("the connection table is empty" in one for one in troubles), "before anything was sent"


@pytest.mark.parametrize("table", [TABLE, NETLINK], ids=["file", "netlink"])
def test_without_counts_the_kernel_tells_packets_by_the_time_that_is_left(house: House, table: str) -> None:
    """The table is looked at three times, 3 s apart; something is sent before the third."""
    house.router.run("sysctl", "-qw", "net.netfilter.nf_conntrack_acct=0")
    look = (
        "import time; from datetime import UTC, datetime; from pathlib import Path\n"
        "from pattress.egress import connections_netlink as netlink\n"
        "from pattress.egress.connections import connection_of\n"
        "now = datetime.now(UTC)\n"
        f"file = Path({table!r})\n"
        "read = lambda: (connection_of(line, 'r', now) for line in file.read_text().splitlines())\n"
        "found = list(read() if file.exists() else netlink.connections('r', now))\n"
        "print(*(one.expires_s for one in found if one.traffic.receiver_port == 123))\n"
    )
    send = "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.bind(('', 40000));"
    send += f" s.sendto(b'x', ('{OUTSIDE}', 123))"

    house.device.run(sys.executable, "-c", send)
    left_s = [int(house.router.run(sys.executable, "-c", look))]
    time.sleep(3)
    left_s.append(int(house.router.run(sys.executable, "-c", look)))
    house.device.run(sys.executable, "-c", send)
    left_s.append(int(house.router.run(sys.executable, "-c", look)))

    first, untouched, touched = left_s
    assert untouched <= first - 2
    assert touched > untouched


def test_whoever_may_not_ask_the_kernel_is_told_so(house: House) -> None:
    setpriv = (require_peer("setpriv"), "--bounding-set", "-net_admin", "--inh-caps", "-net_admin")
    with watching(house, NETLINK, *setpriv) as watch:
        while not watch.said:
            watch._read(ANSWER_S, "trouble")

    assert watch.said[0]["trouble"].startswith("the connection table may not be read. Give this service the capability")


def test_both_ways_give_what_the_connection_tools_print(house: House) -> None:
    conntrack = require_peer("conntrack")
    with serving(house.outside, ANSWER.format(port=123)), serving(house.outside, SERVE.format(port=443)):
        house.device.run(sys.executable, "-c", ASK.format(to=OUTSIDE, port=123))
        house.device.run(sys.executable, "-c", CALL.format(to=OUTSIDE, port=443))
        printed = house.router.run(conntrack, "-L", "-o", "extended")
    compare = (
        "import sys; from datetime import UTC, datetime; from pathlib import Path\n"
        "from pattress.egress import connections_netlink as netlink\n"
        "from pattress.egress.connections import connection_of\n"
        "now = datetime.now(UTC)\n"
        "read = lambda lines: {one.traffic for line in lines if (one := connection_of(line, 'router', now))}\n"
        f"shown = read(Path({TABLE!r}).read_text().splitlines())\n"
        "asked = {one.traffic for one in netlink.connections('router', now)}\n"
        "printed = read(sys.argv[1].splitlines())\n"
        "assert len(shown) >= 2\n"
        "assert shown == asked == printed, (shown, asked, printed)\n"
        "print(len(shown))\n"
    )

    agreed = house.router.run(sys.executable, "-c", compare, printed)

    assert int(agreed) >= 2
