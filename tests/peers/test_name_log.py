"""The log of a real resolver (dnsmasq) that asks another one, told back as who asked for what, and the answers."""

import os
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path

import pytest

from pattress.egress.name_log import NameLog
from pattress.model.encounter import Lookup, NameAnswer
from pattress.model.watching import WatchSource
from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
DEADLINE_S = 10.0
DEVICE = "192.0.2.7"
QUESTIONS = (
    ("API.vendor.example", 1),
    ("api.vendor.example", 28),
    ("api.vendor.example", 1),
    ("blocked.example", 1),
    ("nowhere.example", 1),
    ("own.lan", 1),
    ("vendor.example", 65),
    ("x from 192.0.2.99", 1),
    ("last.example", 1),
)
ASK = """
import socket, struct, sys
for word in sys.argv[1:]:
    name, kind = word.rsplit("/", 1)
    labels = b"".join(bytes([len(label)]) + label.encode() for label in name.split("."))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.settimeout(5)
        head, tail = struct.pack(">6H", 7, 0x0100, 1, 0, 0, 0), struct.pack(">B2H", 0, int(kind), 1)
        one.sendto(head + labels + tail, ("192.0.2.1", 53))
        one.recv(4096)
"""
COMMON = ("--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts", "--user=root", "--pid-file=")


class Pipe:
    """A log file that is a pipe, so that lines can be waited for."""

    def __init__(self, path: Path) -> None:
        os.mkfifo(path)
        self._descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        self._text = b""

    def until(self, words: str) -> list[str]:
        """Return the lines up to one with these words."""
        ends_at = time.monotonic() + DEADLINE_S
        lines: list[str] = []
        while not lines or words not in lines[-1]:
            line, end, rest = self._text.partition(b"\n")
            if end:
                self._text = rest
                lines.append(line.decode())
                continue
            left_s = ends_at - time.monotonic()
            assert left_s > 0, f"no {words!r} in {lines}"
            assert select.select([self._descriptor], [], [], left_s)[0], f"no {words!r} in {lines}"
            self._text += os.read(self._descriptor, 65536)
        return lines

    def close(self) -> None:
        os.close(self._descriptor)


@contextmanager
def resolver(host: Namespace, log: Path, *options: str) -> Iterator[Pipe]:
    """A resolver that is ready to answer."""
    pipe = Pipe(log)
    try:
        command = [require_peer("dnsmasq"), *COMMON, f"--log-facility={log}", *options]
        with host.running(*command, stderr=subprocess.DEVNULL):
            pipe.until(" started, version ")
            yield pipe
    finally:
        pipe.close()


@contextmanager
def house(folder: Path, style: str) -> Iterator[tuple[Namespace, Pipe]]:
    """A device whose router asks a resolver outside, and the log of the router."""
    with namespaces(3) as (device, router, outside):
        connect(device, "dev0", router, "iot0")
        connect(outside, "out0", router, "wan0")
        for host, address, name in (
            (device, f"{DEVICE}/24", "dev0"),
            (router, "192.0.2.1/24", "iot0"),
            (router, "203.0.113.1/24", "wan0"),
            (outside, "203.0.113.9/24", "out0"),
        ):
            host.ip("addr", "add", address, "dev", name)
        records = ("--host-record=cloud.vendor.example,198.51.100.5,2001:db8:5::5", "--local=/example/")
        aliases = ("--cname=api.vendor.example,edge.vendor.example", "--cname=edge.vendor.example,cloud.vendor.example")
        own = ("--address=/blocked.example/0.0.0.0", "--address=/own.lan/192.0.2.2", "--interface=iot0")
        with (
            resolver(outside, folder / "outside.log", *records, *aliases, "--interface=out0"),
            resolver(router, folder / "names.log", "--bind-interfaces", "--server=203.0.113.9", *own, style) as log,
        ):
            yield device, log


def evidence(folder: Path, style: str) -> list[Lookup | NameAnswer]:
    with house(folder, style) as (device, log):
        device.run(sys.executable, "-c", ASK, *(f"{name}/{kind}" for name, kind in QUESTIONS))
        lines = log.until("last.example is NXDOMAIN")
    names = NameLog(WatchSource(name="resolver", kind="names"))
    return [one for line in lines for one in names.evidence(line, NOON)]


@pytest.mark.parametrize(("style", "asker"), [("--log-queries", None), ("--log-queries=extra", DEVICE)])
def test_the_log_tells_every_question_and_ties_answers_to_the_names_that_were_asked_for(
    style: str, asker: str | None, tmp_path: Path
) -> None:
    told = evidence(tmp_path, style)

    lookups = [(str(one.asker), one.name, one.record_type) for one in told if isinstance(one, Lookup)]
    types = {1: "A", 28: "AAAA", 65: "HTTPS"}
    assert lookups == [(DEVICE, name.lower(), types[kind]) for name, kind in QUESTIONS]
    answers = [(one.name, str(one.address)) for one in told if isinstance(one, NameAnswer)]
    assert answers == [
        ("api.vendor.example", "198.51.100.5"),
        ("api.vendor.example", "2001:db8:5::5"),
        ("api.vendor.example", "198.51.100.5"),
        ("own.lan", "192.0.2.2"),
    ]
    told_to = {one.asker for one in told if isinstance(one, NameAnswer)}
    assert told_to == {None if asker is None else ip_address(asker)}
