"""`pattress watch`, `encounters` and `encounters replay`, as a person runs them."""

import asyncio
import signal
import socket
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import dpkt
import pytest

from cli.running import pattress_command
from pattress.lab.flow_messages import Flow, FlowEncoder, Version

SITE = """
name = "Larkspur Mill"
policy = "isolated-house"
[networks]
devices = ["192.0.2.0/24"]
outside = ["203.0.113.0/24"]
[discovery]
mdns = false
neighbours = false
[watch]
syslog_at = "127.0.0.1:{port}"
[[watch.source]]
name = "router-log"
kind = "firewall"
from = ["127.0.0.1"]
prefix = {{ "iot-drop" = "dropped", "iot-pass" = "let-through" }}
[[watch.allow]]
to = "203.0.113.123"
ports = [123]
protocol = "udp"
reason = "the time"
"""
POINTS = """
[[point]]
name = "hall-lights"
room = "Hall"
kind = "brackenvolt-dry"
mac = "02:00:5e:00:53:07"
address = "192.0.2.7"
"""
LINE = (
    "{prefix} IN=iot0 OUT=wan0 MAC=02:00:00:00:00:01:02:00:5e:00:53:07:08:00 SRC=192.0.2.7 DST={to} LEN=60 TOS=0x00 "
    "PREC=0x00 TTL=63 ID=1 DF PROTO={protocol} SPT=50000 DPT={port} WINDOW=64240 RES=0x00 SYN URGP=0 "
)
DROPPED = LINE.format(prefix="iot-drop", to="203.0.113.9", protocol="TCP", port=8883)
PASSED = LINE.format(prefix="iot-pass", to="203.0.113.9", protocol="TCP", port=443)
ALLOWED = LINE.format(prefix="iot-pass", to="203.0.113.123", protocol="UDP", port=123)


@pytest.fixture
def port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        number: int = free.getsockname()[1]
        return number


@pytest.fixture
def folder(tmp_path: Path, port: int) -> Path:
    (tmp_path / "site.toml").write_text(SITE.format(port=port), encoding="utf-8")
    (tmp_path / "points.toml").write_text(POINTS, encoding="utf-8")
    return tmp_path


class Watching:
    """`pattress watch` that runs."""

    def __init__(self, process: asyncio.subprocess.Process, port: int) -> None:
        self.process = process
        self.address = ("127.0.0.1", port)

    def send(self, *lines: str) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for line in lines:
                sender.sendto(f"<4>Mar  1 12:00:00 router kernel: {line}".encode(), self.address)

    async def line_with(self, words: str) -> str:
        """Return the next line on stdout that has these words."""
        assert self.process.stdout is not None
        async with asyncio.timeout(20):
            async for line in self.process.stdout:
                if words in line.decode():
                    return line.decode()
        raise AssertionError(f"it ended without {words!r}")

    async def stop(self) -> tuple[str, str]:
        """Return what it says from here to its end."""
        self.process.send_signal(signal.SIGTERM)
        async with asyncio.timeout(20):
            out, err = await self.process.communicate()
        assert self.process.returncode == 0, err.decode()
        return out.decode(), err.decode()


@asynccontextmanager
async def watch(folder: Path, port: int) -> AsyncIterator[Watching]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "pattress", "watch", "--site", str(folder),
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    try:
        assert process.stderr is not None
        async with asyncio.timeout(20):
            assert "Watching the way to the outside by router-log" in (await process.stderr.readline()).decode()
        yield Watching(process, port)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()


async def test_what_is_reached_is_told_at_once_and_what_was_tried_at_the_end(folder: Path, port: int) -> None:
    async with watch(folder, port) as watching:
        while True:  # until it listens: UDP says nothing of a port where nobody does
            watching.send(ALLOWED, DROPPED, PASSED)
            try:
                async with asyncio.timeout(1):
                    head = await watching.line_with("hall-lights")
                break
            except TimeoutError:
                continue
        rest, err = (" ".join(one.split()) for one in await watching.stop())

    assert "hall-lights (Hall) REACHED the outside" in head
    assert "203.0.113.9, TCP port 443. Traffic went both ways, or was let through" in rest
    assert "seen by router-log" in rest
    assert "1. the packet filter of the router: which rule lets the device network out, and since when." in rest
    assert "2. its cloud and its updates of firmware" in rest
    assert "SINCE THE LAST MESSAGE" in rest
    assert "tried to get outside: 203.0.113.0/24" in rest
    assert "203.0.113.123" not in rest + err, "what is allowed is no encounter"

    listed = await pattress_command("encounters", "--site", str(folder))
    document = (await pattress_command("encounters", "--site", str(folder), "--json")).document
    assert listed.status == 1
    assert "reached     hall-lights  203.0.113.9, TCP port 443" in listed.out
    assert {(one["kind"], one["title"], one["port"]) for one in document["encounters"]} == {
        ("tried", "hall-lights", 8883),
        ("reached", "hall-lights", 443),
    }
    assert document["sources"][0]["heard"] >= 3
    one = await pattress_command("encounters", "--site", str(folder), "--device", "02:00:5e:00:53:07")
    none = await pattress_command("encounters", "--site", str(folder), "--device", "attic")
    later = await pattress_command("encounters", "--site", str(folder), "--since", "2999-01-01")
    assert (one.status, "hall-lights" in one.out) == (1, True)
    assert (none.status, "no device 'attic' was ever seen" in none.err) == (2, True)
    assert (later.status, later.out.startswith("No encounter with the outside is on record.")) == (3, True)
    assert "No source was heard" in later.out
    assert "`pattress doctor` tells" in later.err


async def test_the_audit_holds_what_was_encountered_and_says_how_little_was_heard(folder: Path, port: int) -> None:
    async with watch(folder, port) as watching:
        for _ in range(20):
            watching.send(PASSED)
            await asyncio.sleep(0.05)  # datagrams before it listens are gone; some of these are not
        await watching.line_with("REACHED")
        await watching.stop()

    ended = await pattress_command("audit", "--site", str(folder), "--listen", "0.2", "--json")

    found = {(one["rule"], one["point"]): one for one in ended.document["findings"]}
    assert found["stays-inside", "hall-lights"]["outcome"] == "broken"
    assert "203.0.113.9 on TCP port 443" in found["stays-inside", "hall-lights"]["found"]
    assert found["watch-heard", None]["outcome"] == "unverified"
    assert ("asks-nothing-outside", "hall-lights") not in found, "nobody says that of a device which got outside"


async def test_a_log_is_judged_as_if_it_came_now_and_nothing_is_kept(folder: Path, tmp_path: Path) -> None:
    log = tmp_path / "firewall.log"
    stamp = "Mar  1 12:00:00 router kernel: [12.5] "
    log.write_text(f"{stamp}{DROPPED}\n{stamp}{PASSED}\nsome other line\n{stamp}{ALLOWED}\n", encoding="utf-8")

    ended = await pattress_command("encounters", "replay", str(log), "--site", str(folder))
    document = (await pattress_command("encounters", "replay", str(log), "--site", str(folder), "--json")).document

    assert ended.status == 1
    assert "hall-lights (Hall) REACHED the outside" in ended.out
    assert "router-log: 4 heard" in ended.out
    assert [(one["kind"], one["remote"], one["port"]) for one in document["encounters"]] == [
        ("tried", "203.0.113.9", 8883),
        ("reached", "203.0.113.9", 443),
    ]
    assert not (folder / "pattress.db").exists()


@pytest.mark.parametrize("version", [5, 9, 10])
async def test_a_capture_of_flow_export_is_judged_at_its_own_time(
    folder: Path, tmp_path: Path, version: Version
) -> None:
    began_at = datetime(2026, 2, 27, 9, 0, tzinfo=UTC)
    away = {"sender": ip_address("192.0.2.7"), "receiver": ip_address("203.0.113.9"), "sender_port": 50_000}
    flow = Flow(**away, receiver_port=443, began_at=began_at, ended_at=began_at, packets=4, octets=400)
    back = Flow(
        sender=flow.receiver, receiver=flow.sender, sender_port=443, receiver_port=50_000, began_at=began_at,
        ended_at=began_at, packets=3, octets=3_000,
    )  # fmt: skip
    tried = Flow(**away, receiver_port=8883, began_at=began_at, ended_at=began_at, flags=0x02)
    with (tmp_path / "router.pcap").open("wb") as file:
        capture = dpkt.pcap.Writer(file)
        for number, message in enumerate(FlowEncoder(version=version, started_at=began_at).messages(
            [flow, back, tried], began_at + timedelta(seconds=30)
        )):  # fmt: skip
            udp = dpkt.udp.UDP(sport=40_000, dport=4739, ulen=8 + len(message), data=message)
            packet = dpkt.ip.IP(src=bytes([192, 0, 2, 1]), dst=bytes([192, 0, 2, 2]), p=17, data=udp)
            packet.len = len(packet)
            frame = dpkt.ethernet.Ethernet(src=bytes(6), dst=bytes(6), data=packet)
            capture.writepkt(bytes(frame), began_at.timestamp() + 30 + number)
    with (folder / "site.toml").open("a", encoding="utf-8") as site:
        site.write('[[watch.source]]\nname = "router-flows"\nkind = "flows"\nfrom = ["192.0.2.1"]\n')
    text = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(
        text.replace("[watch]\n", '[watch]\nflows_at = "127.0.0.1:4739"\n'), encoding="utf-8"
    )

    ended = await pattress_command(
        "encounters", "replay", str(tmp_path / "router.pcap"), "--site", str(folder), "--json"
    )

    found = [(one["kind"], one["port"], one["octets_out"], one["octets_in"]) for one in ended.document["encounters"]]
    assert sorted(found) == [("reached", 443, 400, 3_000), ("tried", 8883, 60, 0)]
    assert {one["first_at"][:16] for one in ended.document["encounters"]} == {"2026-02-27T09:00"}
    assert sum(one["heard"] for one in ended.document["sources"] if one["source"] == "router-flows") == 3


async def test_what_cannot_be_replayed_is_said(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "flows.bin").write_bytes(b"\x00\x0a\x00\x10" + bytes(12))
    (tmp_path / "a.log").write_text("x\n", encoding="utf-8")

    flows = await pattress_command("encounters", "replay", str(tmp_path / "flows.bin"), "--site", str(folder))
    missing = await pattress_command("encounters", "replay", str(tmp_path / "none.pcap"), "--site", str(folder))
    named = await pattress_command(
        "encounters", "replay", str(tmp_path / "a.log"), "--site", str(folder), "--source", "resolver"
    )
    quiet = await pattress_command("encounters", "replay", str(tmp_path / "a.log"), "--site", str(folder))

    assert (flows.status, "the site has no source of flow export" in flows.err) == (2, True)
    assert (missing.status, "none.pcap" in missing.err) == (2, True)
    assert (named.status, "no source of log lines 'resolver'" in named.err) == (2, True)
    assert (quiet.status, "No encounter" in quiet.out) == (0, True)


async def test_without_a_source_there_is_nothing_to_watch(tmp_path: Path) -> None:
    text = SITE.split("[watch]", maxsplit=1)[0].format()
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    (tmp_path / "points.toml").write_text(POINTS, encoding="utf-8")

    ended = await pattress_command("watch", "--site", str(tmp_path))

    assert ended.status == 2
    assert "the site names no source that tells of the way to the outside" in ended.err


async def test_a_mud_file_with_a_fault_is_a_fault_of_the_site(folder: Path) -> None:
    (folder / "lamp.json").write_text('{"ietf-mud:mud": {"mud-version": 7}}', encoding="utf-8")
    with (folder / "site.toml").open("a", encoding="utf-8") as site:
        site.write('[[watch.mud]]\nkind = "brackenvolt-dry"\nfile = "lamp.json"\n')

    ended = await pattress_command("check", "--site", str(folder))

    assert ended.status == 2
    assert "mud-version" in ended.err + ended.out
