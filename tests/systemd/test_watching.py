"""The service that watches, as it is shipped, started by a real systemd on a host of its own."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from peers.booted import CHECKOUT, BootedHost, booted

pytestmark = pytest.mark.peer

UNIT = "pattress-watch.service"
SITE = """
store = "/var/lib/pattress/pattress.db"
name = "Larkspur Mill"
policy = "isolated-house"
[networks]
devices = ["10.88.0.0/24"]
outside = ["203.0.113.0/24"]
[discovery]
mdns = false
[watch]
flows_at = "127.0.0.1:4739"
syslog_at = "127.0.0.1:5514"
[[watch.source]]
name = "router-log"
kind = "firewall"
from = ["127.0.0.1"]
prefix = { "iot-pass" = "let-through" }
[[watch.source]]
name = "router-flows"
kind = "flows"
from = ["127.0.0.1"]
"""
POINTS = """
[[point]]
name = "hall-lights"
room = "Hall"
kind = "brackenvolt-dry"
mac = "02:00:5e:00:53:07"
address = "10.88.0.7"
"""
LINE = (
    "iot-pass IN=iot0 OUT=wan0 MAC=02:00:00:00:00:01:02:00:5e:00:53:07:08:00 SRC=10.88.0.7 DST=203.0.113.9 LEN=60 "
    "TTL=63 ID=1 DF PROTO=TCP SPT=50000 DPT=443 WINDOW=64240 RES=0x00 SYN URGP=0"
)


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BootedHost]:
    units = {UNIT: (CHECKOUT / "systemd" / UNIT).read_text(encoding="utf-8")}
    with booted(tmp_path_factory.mktemp("watch"), units) as host:
        for name, text in (("site.toml", SITE), ("points.toml", POINTS)):
            (host.trial / name).write_text(text, encoding="utf-8")
        host.succeed("sh", "-c", "mkdir -m 700 /etc/pattress/secrets; cp /trial/*.toml /etc/pattress/")
        host.succeed("systemctl", "start", UNIT)
        yield host


def journal(host: BootedHost) -> str:
    return host.succeed("journalctl", f"--unit={UNIT}", "--output=cat", "--no-pager")


def wait_for(host: BootedHost, words: str, *send: str) -> str:
    """Return the journal once it has these words; what is to be sent is sent until then."""
    ends_at = time.monotonic() + 30
    while words not in (text := journal(host)):
        assert time.monotonic() < ends_at, text + host.run("systemctl", "status", UNIT).stdout
        if send:
            host.succeed(*send)
        time.sleep(0.3)
    return text


def test_what_the_router_logs_is_told_in_the_journal_and_kept_when_it_stops(host: BootedHost) -> None:
    wait_for(host, "Watching the way to the outside by router-log, router-flows")
    logger = ["logger", "--udp", "--server", "127.0.0.1", "--port", "5514", "--tag", "kernel", LINE]

    text = wait_for(host, "hall-lights (Hall) REACHED the outside", *logger)
    assert "203.0.113.9, TCP port 443" in text
    assert "nobody can listen" not in text, "the sandbox lets it listen for syslog and for flows"

    host.succeed("systemctl", "stop", UNIT)

    shown = host.succeed("systemctl", "show", UNIT, "--property=Result,ExecMainStatus")
    assert set(shown.split()) == {"Result=success", "ExecMainStatus=0"}
    listed = host.run("/opt/pattress/bin/pattress", "encounters", "--site", "/etc/pattress")
    assert "reached     hall-lights  203.0.113.9, TCP port 443" in listed.stdout, listed.stderr
    assert Path("/var/lib/pattress/pattress.db").exists() is False, "it is kept on that host, not on this one"
