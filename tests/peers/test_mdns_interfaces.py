"""Interfaces on which nothing can be, or nothing is, heard: on hosts of the test's own."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

HOLD = """
import socket, sys
held = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
held.bind(("", 5353))
print("held", flush=True)
sys.stdin.read()
"""


def reports(host: Namespace, *interfaces: str, becoming: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    """Listen for as long as it takes to start and stop. `becoming` is a program that gives up rights on the way."""
    program = str(Path(__file__).with_name("mdns_listener.py"))
    command = host.command(*becoming, sys.executable, program, *interfaces)
    done = subprocess.run(command, input=b"", capture_output=True, timeout=30, check=True)
    assert done.stderr == b""
    return list(json.loads(done.stdout.splitlines()[-1])["reports"])


def test_where_nobody_is_the_source_is_silent() -> None:
    with namespaces(2) as (nobody, auditor):
        connect(nobody, "dev0", auditor, "iot0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")

        (report,) = reports(auditor, "iot0")

    assert (report["state"], report["heard_count"], report["is_needed"]) == ("silent", 0, True)
    assert "IPv4 and IPv6" in report["detail"]


def test_both_families_are_listened_to_without_any_capability() -> None:
    """As the nightly unit has it: there an interface with an IPv6 address of its own must not turn the source blind."""
    with namespaces(2) as (nobody, auditor):
        connect(nobody, "dev0", auditor, "iot0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")
        auditor.ip("addr", "add", "fe80::2/64", "dev", "iot0")
        powerless = (require_peer("setpriv"), "--bounding-set=-all", "--inh-caps=-all", "--no-new-privs")

        (report,) = reports(auditor, "iot0", becoming=powerless)

    assert (report["state"], report["heard_count"]) == ("silent", 0), report["detail"]
    assert "IPv4 and IPv6" in report["detail"]


def test_an_interface_without_address_is_said() -> None:
    with namespaces(1) as (auditor,):
        auditor.ip("link", "add", "iot0", "type", "veth", "peer", "name", "far0")

        (report,) = reports(auditor, "iot0")

    assert (report["source"], report["state"]) == ("mDNS on iot0", "failed")
    assert "has no IP address. Bring it up" in report["detail"]


def test_a_port_that_is_not_shared_is_said() -> None:
    with namespaces(2) as (nobody, auditor):
        connect(nobody, "dev0", auditor, "iot0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")
        options = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        with auditor.running(sys.executable, "-c", HOLD, **options) as holder:
            assert holder.stdout is not None
            assert holder.stdin is not None
            holder.stdout.readline()

            (report,) = reports(auditor, "iot0")

            holder.stdin.close()
            holder.stdout.close()

    assert report["state"] == "failed"
    assert "UDP port 5353 is held by a program that does not share it. Find it with" in report["detail"]
