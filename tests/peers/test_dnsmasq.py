"""Hosts that announce nothing, found by what a real DHCP server (dnsmasq) and the kernel know of them.

The router of a house runs dnsmasq and the auditor; the hosts are namespaces of their own, and take their address with
a real DHCP client (busybox) or have one of their own.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

RELAY = "00:00:5e:00:53:07"
PRIVATE = "02:00:5e:00:53:08"
BOUND = """\
#!/bin/sh
[ "$1" = bound ] || [ "$1" = renew ] || exit 0
exec {ip} addr add "$ip/24" dev "$interface"
"""


@contextmanager
def dnsmasq(router: Namespace, leases: Path) -> Iterator[None]:
    """Give out addresses on `iot0`."""
    command = [require_peer("dnsmasq"), "--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts"]
    command += ["--port=0", "--interface=iot0", "--bind-interfaces", "--user=root", "--pid-file=", "--no-ping"]
    command += ["--dhcp-range=192.0.2.8,192.0.2.14,1h", f"--dhcp-leasefile={leases}", "--log-facility=-"]
    with router.running(*command, stderr=subprocess.PIPE) as process:
        assert process.stderr is not None
        said = []
        for line in process.stderr:
            said.append(line)
            if b"sockets bound" in line:
                break
        else:
            raise AssertionError(f"dnsmasq ended at once: {said}")
        try:
            yield
        finally:
            process.stderr.close()


@contextmanager
def house(folder: Path) -> Iterator[tuple[Namespace, Namespace]]:
    """A router that is `192.0.2.1` on `iot0`, and a host on the other end of the wire without an address."""
    with namespaces(2) as (router, host):
        connect(router, "iot0", host, "dev0")
        for version in (4, 6):
            # How long the kernel waits before it asks whether a neighbour of old is still there: 5 s unless set.
            router.run("sysctl", "-qw", f"net.ipv{version}.neigh.iot0.delay_first_probe_time=1")
        router.ip("addr", "add", "192.0.2.1/24", "dev", "iot0")
        router.ip("addr", "add", "2001:db8::1/64", "dev", "iot0")
        yield router, host


def take_lease(host: Namespace, folder: Path) -> None:
    script = folder / "bound"
    script.write_text(BOUND.format(ip=require_peer("ip")), encoding="utf-8")
    script.chmod(0o755)
    client = [require_peer("busybox"), "udhcpc", "-i", "dev0", "-s", str(script), "-q", "-n", "-f"]
    host.run(*client, "-x", "hostname:relay-7")


def talk_to(host: Namespace, address: str) -> None:
    host.run(require_peer("busybox"), "ping", "-c", "1", "-W", "5", address)


def write_site(folder: Path, *discovery: str, points: str = "", devices: str = '["192.0.2.0/28"]') -> Path:
    site = folder / "site"
    site.mkdir(exist_ok=True)
    lines = ['name = "House"', 'policy = "isolated-house"', "[networks]", f"devices = {devices}", "[discovery]"]
    (site / "site.toml").write_text("\n".join([*lines, "listen_s = 3", *discovery]) + "\n", encoding="utf-8")
    (site / "points.toml").write_text(points, encoding="utf-8")
    return site


def pattress(router: Namespace, command: str, site: Path, *, status: int) -> Any:
    done = subprocess.run(
        router.command(sys.executable, "-W", "error", "-m", "pattress", command, "--site", str(site), "--json"),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == status, done.stderr
    return json.loads(done.stdout)


def evidence(device: dict[str, Any]) -> set[tuple[str, str, bool]]:
    return {(one["source"], one["address"], one["is_dated"]) for one in device["sightings"]}


def unplanned(audit: dict[str, Any]) -> list[tuple[str, str]]:
    return [(one["device"], one["outcome"]) for one in audit["findings"] if one["rule"] == "device-planned"]


def test_a_host_that_only_took_an_address_is_found_by_its_lease_and_as_a_neighbour(tmp_path: Path) -> None:
    leases = tmp_path / "dnsmasq.leases"
    site = write_site(tmp_path, "mdns = false", f'leases = ["{leases}"]', devices='["192.0.2.0/28", "2001:db8::/64"]')
    with house(tmp_path) as (router, host):
        host.ip("link", "set", "dev0", "address", RELAY)
        host.ip("addr", "add", "2001:db8::7/64", "dev", "dev0")
        with dnsmasq(router, leases):
            take_lease(host, tmp_path)
            for address in ("192.0.2.1", "2001:db8::1"):
                talk_to(host, address)

            found = pattress(router, "discover", site, status=0)

    (lease,) = leases.read_text(encoding="utf-8").splitlines()
    address = lease.split()[2]
    (device,) = [one for one in found["devices"] if one["mac"] == RELAY]
    told = evidence(device)
    assert {("lease", address, False), ("neighbour", address, True), ("neighbour", "2001:db8::7", True)} <= told
    assert {one["name"] for one in device["sightings"] if one["source"] == "lease"} == {"relay-7"}
    assert (device["maker_by_oui"], device["is_private_mac"]) == ("ICANN, IANA Department", False)
    states = {one["source"]: one["state"] for one in found["sources"]}
    assert states == {"neighbour table": "heard", f"leases in {leases}": "heard"}


def test_a_host_in_no_plan_is_reported_within_one_audit_and_an_entry_explains_it_away(tmp_path: Path) -> None:
    leases = tmp_path / "dnsmasq.leases"
    site = write_site(tmp_path, f'leases = ["{leases}"]')
    entry = f'[[other]]\nname = "doorbell"\nreason = "Rings."\nmac = "{PRIVATE}"\n'
    with house(tmp_path) as (router, host):
        host.ip("link", "set", "dev0", "address", PRIVATE)
        with dnsmasq(router, leases):
            take_lease(host, tmp_path)
            talk_to(host, "192.0.2.1")

            before = pattress(router, "audit", site, status=1)
            write_site(tmp_path, f'leases = ["{leases}"]', points=entry)
            after = pattress(router, "audit", site, status=0)

    assert unplanned(before) == [(f"mac:{PRIVATE}", "broken")]
    assert unplanned(after) == []


def test_a_host_that_never_says_a_word_is_found_by_a_sweep_only(tmp_path: Path) -> None:
    with house(tmp_path) as (router, host):
        host.ip("link", "set", "dev0", "address", PRIVATE)
        host.ip("addr", "add", "192.0.2.9/24", "dev", "dev0")

        quiet = pattress(router, "discover", write_site(tmp_path, "mdns = false"), status=0)
        asked = pattress(router, "discover", write_site(tmp_path, "mdns = false", "sweep = true"), status=0)

    assert [one["mac"] for one in quiet["devices"] if evidence(one) & {("neighbour", "192.0.2.9", True)}] == []
    (device,) = [one for one in asked["devices"] if one["mac"] == PRIVATE]
    assert ("neighbour", "192.0.2.9", True) in evidence(device)
    assert {one["source"]: one["detail"] for one in asked["sources"]}["sweep"] == "13 addresses asked for"


def test_a_lease_outlives_its_host_and_does_not_say_that_it_is_there(tmp_path: Path) -> None:
    leases = tmp_path / "dnsmasq.leases"
    site = write_site(tmp_path, "mdns = false", f'leases = ["{leases}"]', "sweep = true")
    with house(tmp_path) as (router, host):
        host.ip("link", "set", "dev0", "address", PRIVATE)
        with dnsmasq(router, leases):
            take_lease(host, tmp_path)
            host.ip("link", "set", "dev0", "down")
            router.ip("neigh", "flush", "dev", "iot0")

            found = pattress(router, "discover", site, status=0)

    (device,) = [one for one in found["devices"] if one["mac"] == PRIVATE]
    assert {(source, is_dated) for source, _, is_dated in evidence(device)} == {("lease", False)}


def test_a_sweep_never_goes_through_a_router(tmp_path: Path) -> None:
    with house(tmp_path) as (router, host):
        host.ip("addr", "add", "192.0.2.9/24", "dev", "dev0")
        router.ip("route", "add", "default", "via", "192.0.2.9")
        received = received_by(host)

        beyond = pattress(
            router,
            "discover",
            write_site(tmp_path, "mdns = false", "sweep = true", devices='["203.0.113.0/29"]'),
            status=3,
        )
        received_beyond = received_by(host)
        pattress(router, "discover", write_site(tmp_path, "mdns = false", "sweep = true"), status=0)
        received_near = received_by(host)

    details = {one["source"]: one["detail"] for one in beyond["sources"]}
    assert "none of 6 addresses can be asked for from this host (network is unreachable)" in details["sweep"]
    assert received_beyond == received
    assert received_near == received + 1, "one datagram to its own address, or the count proves nothing"


def received_by(host: Namespace) -> int:
    """Return how many IPv4 packets a host has received."""
    head, values = [line.split() for line in host.run("cat", "/proc/net/snmp").splitlines() if line.startswith("Ip:")]
    return int(values[head.index("InReceives")])
