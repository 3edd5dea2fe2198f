"""The nightly audit as it is shipped, started by a real systemd on a host of its own."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from peers.booted import CHECKOUT, BootedHost, booted

pytestmark = pytest.mark.peer

PYTHON = "/opt/pattress/bin/python"
TESTS = "/opt/pattress/checkout/tests/systemd"
AUDIT = "/opt/pattress/bin/pattress audit --site /etc/pattress --report html=/var/lib/pattress/audit.html"


def unit(command: str) -> str:
    """Return the unit as it is shipped, but for its command."""
    text = (CHECKOUT / "systemd" / "pattress-audit.service").read_text(encoding="utf-8")
    assert text.count(AUDIT) == 1
    return text.replace(AUDIT, command)


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BootedHost]:
    """A host with an interface that has addresses of both families, a public address, and nobody to talk to."""
    units = {
        "pattress-audit.service": unit(f"{AUDIT} --report json=/var/lib/pattress/audit.json"),
        "night-probe.service": unit(f"{PYTHON} {TESTS}/night_probe.py"),
    }
    with booted(tmp_path_factory.mktemp("night"), units) as host:
        host.succeed("ip", "link", "add", "iot0", "type", "veth", "peer", "name", "far0")
        host.succeed("ip", "addr", "add", "10.88.0.1/24", "dev", "iot0")
        host.succeed("ip", "addr", "add", "fe80::2/64", "dev", "iot0", "nodad")
        host.succeed("ip", "addr", "add", "203.0.113.5/32", "dev", "lo")
        for name in ("iot0", "far0"):
            host.succeed("ip", "link", "set", name, "up")
        yield host


@pytest.fixture(scope="module")
def expected(host: BootedHost) -> Iterator[list[list[str | None]]]:
    """What an audit of the emulated house on the host must find, while the house runs."""
    program = host.command(PYTHON, f"{TESTS}/night_house.py")
    with subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as house:
        assert house.stdout is not None
        yield json.loads(house.stdout.readline())
        house.communicate(timeout=10)


@pytest.fixture(scope="module")
def audit(host: BootedHost, expected: object) -> dict[str, Any]:
    """The audit that the unit has kept as JSON."""
    started = host.run("systemctl", "start", "pattress-audit.service")
    journal = host.succeed("journalctl", "--unit=pattress-audit.service", "--output=cat", "--no-pager")
    assert started.returncode == 1, journal
    assert "Failed with result 'exit-code'" in journal
    assert "BROKEN: " in journal
    state = Path("/var/lib/pattress")
    return dict(json.loads(host.succeed("cat", str(state / "audit.json"))))


def test_the_unit_finds_all_that_is_planted_and_nothing_else(
    audit: dict[str, Any], expected: list[list[str | None]]
) -> None:
    found = [
        [finding["point"] or finding["device_title"], finding["rule"], finding["setting"], finding["outcome"]]
        for finding in audit["findings"]
        if finding["outcome"] != "met"
    ]

    nobody_there = ["mDNS on iot0", "source-heard", None, "unverified"]
    assert sorted(found, key=str) == sorted([*expected, nobody_there], key=str)
    assert audit["counts"]["met"] > 300


def test_no_source_is_kept_from_listening_by_the_sandbox(audit: dict[str, Any]) -> None:
    states = {source["source"]: (source["state"], source["detail"]) for source in audit["sources"]}

    assert states["broker house"][0] == "heard"
    assert states["mDNS on lo"][0] == "heard"
    assert states["mDNS on iot0"][0] == "silent", states["mDNS on iot0"][1]
    assert "IPv4 and IPv6" in states["mDNS on iot0"][1]


def test_a_failed_audit_makes_the_unit_fail_with_its_exit_status(host: BootedHost, audit: object) -> None:
    shown = host.succeed("systemctl", "show", "pattress-audit.service", "--property=ExecMainStatus,Result")

    assert set(shown.split()) == {"ExecMainStatus=1", "Result=exit-code"}


def test_the_sandbox_is_in_force_where_this_was_tried(host: BootedHost, expected: object) -> None:
    host.succeed("systemctl", "start", "night-probe.service")

    journal = host.succeed("journalctl", "--unit=night-probe.service", "--output=cat", "--no-pager")
    endings = next(json.loads(line) for line in journal.splitlines() if line.startswith("{"))
    assert endings == {
        "a system call of @resources": "EPERM",
        "a system call of @privileged": "EPERM",
        "a user namespace": "EPERM",
        "a packet socket": "EAFNOSUPPORT",
        "a datagram to a public address": "EPERM",
        "a datagram to a private address": "done",
        "the secrets' own folder": "EACCES",
        "a file outside the state": "EROFS",
    }
