"""Discovery of what an independent responder (avahi-daemon) announces, between hosts of the test's own."""

import asyncio
import json
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import pytest

from peers.namespaces import Namespace, connect, namespaces
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

DEADLINE_S = 15.0
ODD_NAME = "Hall relay.7 \\ küche"
Seen = dict[str, Any]

# Each string of the TXT record, and how its attribute is shown: RFC 6763 section 6.4. (A string without a key is not
# among them: avahi sends `=x` as `x`.)
TXT = {
    "A=1": ("a", "1"),
    "a=2": ("a", "1"),
    "flag": ("flag", "(no value)"),
    "empty=": ("empty", ""),
    "eq=x=y": ("eq", "x=y"),
    'quoted= "x" ': ("quoted", ' "x" '),
}


class Listener:
    """The listening program, and what it has printed so far."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.seen: list[Seen] = []
        self._process = process

    async def until(self, is_enough: Callable[[list[Seen]], object]) -> list[Seen]:
        async with asyncio.timeout(DEADLINE_S):
            while not is_enough(self.seen):
                self.seen.append((await self._line())["sighting"])
        return self.seen

    async def end(self) -> list[dict[str, Any]]:
        """Have it stop; return its reports and keep what it told last."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        async with asyncio.timeout(DEADLINE_S):
            while "reports" not in (line := await self._line()):
                self.seen.append(line["sighting"])
            errors = await self._process.stderr.read() if self._process.stderr else b""
        assert errors == b""
        return list(line["reports"])

    async def _line(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = await self._process.stdout.readline()
        if not line:
            errors = await self._process.stderr.read() if self._process.stderr else b""
            raise AssertionError(f"the listener has ended: {errors.decode()}")
        said: dict[str, Any] = json.loads(line)
        return said


@asynccontextmanager
async def listening(host: Namespace, *interfaces: str) -> AsyncIterator[Listener]:
    program = Path(__file__).with_name("mdns_listener.py")
    process = await asyncio.create_subprocess_exec(
        *host.command(sys.executable, str(program), *interfaces),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        yield Listener(process)
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


@contextmanager
def avahi(host: Namespace, interface: str, folder: Path, host_name: str, *services: str) -> Iterator[None]:
    """Run avahi-daemon on one interface of a host, with a service file of our own and no D-Bus."""
    require_peer("avahi-daemon")
    folder.mkdir()
    (folder / "services").mkdir()
    group = f"<service-group><name>{escape(ODD_NAME)}</name>{''.join(services)}</service-group>"
    (folder / "services" / "test.service").write_text(f"<?xml version='1.0'?>{group}", encoding="utf-8")
    (folder / "avahi.conf").write_text(
        f"[server]\nhost-name={host_name}\nuse-ipv4=yes\nuse-ipv6=yes\nallow-interfaces={interface}\n"
        "enable-dbus=no\n[publish]\npublish-hinfo=no\npublish-workstation=no\n[wide-area]\nenable-wide-area=no\n"
    )
    # A mount namespace of its own: the daemon has fixed places for its services and its process id.
    script = (
        f"mount --bind {folder}/services /etc/avahi/services && mount -t tmpfs tmpfs /run && mkdir /run/avahi-daemon"
        f" && exec avahi-daemon -f {folder}/avahi.conf --no-drop-root --no-chroot --no-rlimits"
    )
    with (
        (folder / "log").open("wb") as log,
        host.running(require_peer("unshare"), "-m", "sh", "-c", script, stdout=log, stderr=log),
    ):
        yield


def service(type: str, port: int, *txt: str) -> str:
    records = "".join(f"<txt-record>{escape(one)}</txt-record>" for one in txt)
    records += "<txt-record value-format='binary-hex'>raw=fffe</txt-record>"
    return f"<service><type>{type}</type><port>{port}</port>{records}</service>"


def link_local(host: Namespace) -> str:
    described = json.loads(host.ip("-6", "-j", "addr", "show", "dev", "dev0"))
    return next(one["local"] for link in described for one in link["addr_info"] if one["scope"] == "link")


def channels(seen: list[Seen]) -> set[tuple[str, str]]:
    return {(one["channel"], one["address"]) for one in seen}


async def test_everything_that_avahi_announces_is_found_and_its_goodbyes_are_heard(tmp_path: Path) -> None:
    services = [
        service("_quill._tcp", 80, "kind=D2", "ID=02-00-5e-00-53-07", "sn=Q7"),
        service("_plume._tcp", 8080, *TXT),
        service("_bare._udp", 9),
    ]
    with namespaces(2) as (house, auditor):
        connect(house, "dev0", auditor, "iot0")
        house.ip("addr", "add", "192.0.2.7/24", "dev", "dev0")
        house.ip("addr", "add", "2001:db8::7/64", "dev", "dev0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")
        addresses = {"192.0.2.7", "2001:db8::7"}  # with a global address, avahi leaves its link-local one out
        wanted = {
            (f"{type} on iot0", address)
            for type in ("_quill._tcp", "_plume._tcp", "_bare._udp")
            for address in addresses
        }

        async with listening(auditor, "iot0") as listener:
            with avahi(house, "dev0", tmp_path / "avahi", "relay-7", *services):
                await listener.until(lambda seen: wanted <= channels(seen))
            announced = [one for one in listener.seen if not one["is_gone"]]
            await listener.until(lambda seen: wanted <= channels([one for one in seen if one["is_gone"]]))
            reports = await listener.end()

    assert channels(announced) == wanted
    assert {one["name"] for one in announced} == {ODD_NAME}
    assert {one["details"]["host"] for one in announced} == {"relay-7.local"}
    quill = [one for one in announced if one["channel"] == "_quill._tcp on iot0"]
    assert {(one["kind"], one["mac"], one["serial"], one["port"]) for one in quill} == {
        ("quill-d2", "02:00:5e:00:53:07", "Q7", 80)
    }
    plume = [one for one in announced if one["channel"] == "_plume._tcp on iot0"]
    shown = {"host": "relay-7.local", "txt.raw": "\\xff\\xfe"}  # RFC 6763 section 6.5: opaque bytes
    shown |= {f"txt.{key}": value for key, value in TXT.values()}
    assert [one["details"] for one in plume] == [shown] * len(plume)
    bare = [one for one in announced if one["channel"] == "_bare._udp on iot0"]
    assert {(one["kind"], one["port"], tuple(one["details"])) for one in bare} == {(None, 9, ("host", "txt.raw"))}
    assert [(one["source"], one["state"]) for one in reports] == [("mDNS on iot0", "heard")]


async def test_what_was_announced_before_we_listen_is_asked_for(tmp_path: Path) -> None:
    with namespaces(2) as (house, auditor):
        connect(house, "dev0", auditor, "iot0")
        house.ip("addr", "add", "192.0.2.7/24", "dev", "dev0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")

        with avahi(house, "dev0", tmp_path / "avahi", "relay-7", service("_plume._tcp", 80)):
            async with listening(auditor, "iot0") as first:
                await first.until(len)
                await first.end()
            async with listening(auditor, "192.0.2.2") as second:
                await second.until(lambda seen: any(one["address"] == "192.0.2.7" for one in seen))
                reports = await second.end()

    assert {one["name"] for one in second.seen} == {ODD_NAME}
    assert "over IPv4" in reports[0]["detail"]
    assert "IPv6" not in reports[0]["detail"]


async def test_one_name_on_two_interfaces_is_two_services(tmp_path: Path) -> None:
    with namespaces(3) as (first, second, auditor):
        for number, house in enumerate((first, second)):
            connect(house, "dev0", auditor, f"iot{number}")
            house.ip("addr", "add", f"192.0.{number}.7/24", "dev", "dev0")
            auditor.ip("addr", "add", f"192.0.{number}.2/24", "dev", f"iot{number}")

        wanted = {
            (f"_quill._tcp on iot{number}", address)
            for number, house in enumerate((first, second))
            for address in (f"192.0.{number}.7", f"{link_local(house)}%iot{number}")
        }

        async with listening(auditor, "iot0", "iot1") as listener:
            with (
                avahi(first, "dev0", tmp_path / "a", "relay", service("_quill._tcp", 80, "side=a")),
                avahi(second, "dev0", tmp_path / "b", "relay", service("_quill._tcp", 80, "side=b")),
            ):
                await listener.until(lambda seen: wanted <= channels(seen))
                await listener.end()

    sides = {(one["channel"], one["details"]["txt.side"]) for one in listener.seen}
    assert sides == {("_quill._tcp on iot0", "a"), ("_quill._tcp on iot1", "b")}
    assert {one["address"].rpartition("%")[2] for one in listener.seen if one["address"].startswith("fe80")} <= {
        "iot0",
        "iot1",
    }
    assert not {("_quill._tcp on iot0", "192.0.1.7"), ("_quill._tcp on iot1", "192.0.0.7")} & channels(listener.seen)


async def test_an_interface_that_is_made_anew_while_we_listen_is_no_good_news(tmp_path: Path) -> None:
    with namespaces(2) as (house, auditor):
        connect(house, "dev0", auditor, "iot0")
        house.ip("addr", "add", "192.0.2.7/24", "dev", "dev0")
        auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")

        with avahi(house, "dev0", tmp_path / "avahi", "relay-7", service("_plume._tcp", 80)):
            async with listening(auditor, "iot0") as listener:
                await listener.until(len)
                auditor.ip("link", "del", "iot0")
                connect(house, "dev0", auditor, "iot0")
                auditor.ip("addr", "add", "192.0.2.2/24", "dev", "iot0")
                (report,) = await listener.end()

    assert report["state"] == "failed"
    assert "iot0 changed while it was listened on" in report["detail"]
