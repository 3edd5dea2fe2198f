"""Lease files that are written, replaced and taken away while we listen."""

import asyncio
import os
import threading
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path

import pytest

from pattress.discovery import leases
from pattress.discovery.leases import LeaseSource
from pattress.model.device import Sighting
from pattress.model.site import Networks
from pattress.model.source import SourceReport

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)
LATER = int(NOW.timestamp()) + 3600
DEVICES = (ip_network("192.0.2.0/24"), ip_network("2001:db8::/64"))
KEA_HEAD = "address,hwaddr,client_id,valid_lifetime,expire,subnet_id,fqdn_fwd,fqdn_rev,hostname,state,user_context\n"


def line(address: str = "192.0.2.7", name: str = "relay-7", expiry: int = LATER) -> str:
    return f"{expiry} 02:00:5e:00:53:07 {address} {name} *\n"


def kea(address: str, name: str, state: int = 0) -> str:
    return f"{address},02:00:5e:00:53:07,,3600,{LATER},1,0,0,{name},{state},\n"


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leases, "POLL_S", 0.01)


class Listening:
    """A source that listens, and what it has told."""

    def __init__(self, *files: Path) -> None:
        self.told: list[Sighting] = []
        self.reports: Sequence[SourceReport] = ()
        self._source = LeaseSource(files, Networks(devices=DEVICES, inside=DEVICES), lambda: NOW)
        self._stop = asyncio.Event()
        self._news = asyncio.Event()

    async def run(self) -> None:
        self.reports = await self._source.listen(self._take, self._stop)

    def stop(self) -> None:
        self._stop.set()

    async def until(self, count: int) -> None:
        async with asyncio.timeout(5):
            while len(self.told) < count:
                self._news.clear()
                await self._news.wait()

    def _take(self, sighting: Sighting) -> None:
        self.told.append(sighting)
        self._news.set()


@asynccontextmanager
async def listening(*files: Path) -> AsyncIterator[Listening]:
    one = Listening(*files)
    async with asyncio.TaskGroup() as group:
        group.create_task(one.run(), name="leases")
        yield one
        one.stop()


async def heard(*files: Path) -> Listening:
    """Listen for as long as it takes to read each file once."""
    one = Listening(*files)
    one.stop()
    await one.run()
    return one


async def test_a_lease_is_a_sighting_that_says_nothing_of_now(tmp_path: Path) -> None:
    file = tmp_path / "dnsmasq.leases"
    file.write_text(line() + line("192.0.2.8", "*", expiry=0))

    found = await heard(file)

    common = {"source": "lease", "seen_at": NOW, "mac": "02:00:5e:00:53:07", "is_dated": False}
    common |= {"channel": "lease file dnsmasq.leases"}
    expires = f"{datetime.fromtimestamp(LATER, UTC):%Y-%m-%dT%H:%M:%SZ}"
    assert found.told == [
        Sighting(**common, address="192.0.2.7", name="relay-7", details={"expires": expires}),
        Sighting(**common, address="192.0.2.8", name=None, details={"expires": "never"}),
    ]
    (report,) = found.reports
    assert (report.source, report.state, report.heard_count) == (f"leases in {file}", "heard", 2)
    assert report.detail == "2 leases in the device networks (dnsmasq)"
    assert not report.is_needed


async def test_leases_that_ran_out_and_those_of_other_networks_are_left_out_and_counted(tmp_path: Path) -> None:
    file = tmp_path / "leases"
    file.write_text(line(expiry=int(NOW.timestamp())) + line("198.51.100.7") + line("fe80::7") + "half a li")

    found = await heard(file)

    assert found.told == []
    (report,) = found.reports
    assert report.state == "silent"
    assert report.detail == (
        "0 leases in the device networks (dnsmasq); 1 expired; 2 elsewhere;"
        " 1 entries that are not whole or make no sense"
    )


async def test_what_is_written_while_we_listen_is_told_once(tmp_path: Path) -> None:
    file = tmp_path / "leases"
    file.write_text(line())

    async with listening(file) as found:
        await found.until(1)
        with file.open("a") as stream:
            stream.write(line("192.0.2.8", "lamp-8"))
        await found.until(2)
        file.write_text(line(expiry=LATER + 60) + line("192.0.2.7", "relay-7b"))
        await found.until(3)

    assert [(one.address, one.name) for one in found.told] == [
        ("192.0.2.7", "relay-7"),
        ("192.0.2.8", "lamp-8"),
        ("192.0.2.7", "relay-7b"),
    ]


async def test_a_file_that_is_replaced_by_another_of_the_same_size_and_time_is_read_again(tmp_path: Path) -> None:
    file, other = tmp_path / "leases", tmp_path / "new"
    file.write_text(line())
    other.write_text(line("192.0.2.8"))
    for path in (file, other):
        os.utime(path, ns=(0, 0))

    async with listening(file) as found:
        await found.until(1)
        other.rename(file)
        await found.until(2)

    assert [one.address for one in found.told] == ["192.0.2.7", "192.0.2.8"]


async def test_a_change_just_before_the_end_is_still_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leases, "POLL_S", 600)
    file = tmp_path / "leases"
    file.write_text(line())

    async with listening(file) as found:
        await found.until(1)
        file.write_text(line("192.0.2.88"))

    assert [one.address for one in found.told] == ["192.0.2.7", "192.0.2.88"]


async def test_a_file_that_appears_later_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "leases"
    has_looked = threading.Event()
    read = leases._read

    def noted(path: Path, earlier: leases._Content) -> leases._Content:
        content = read(path, earlier)
        has_looked.set()
        return content

    monkeypatch.setattr(leases, "_read", noted)

    async with listening(file) as found:
        await asyncio.to_thread(has_looked.wait, 5)
        file.write_text(line())
        await found.until(1)

    assert found.reports[0].state == "heard"


async def test_what_kea_has_moved_on_is_read_before_its_file(tmp_path: Path) -> None:
    file = tmp_path / "kea-leases4.csv"
    file.write_text(KEA_HEAD + kea("192.0.2.9", "newest"))
    (tmp_path / "kea-leases4.csv.2").write_text(
        KEA_HEAD + kea("192.0.2.7", "oldest") + kea("192.0.2.8", "oldest") + kea("192.0.2.9", "oldest")
    )
    (tmp_path / "kea-leases4.csv.1").write_text(KEA_HEAD + kea("192.0.2.8", "older") + kea("192.0.2.7", "x", state=1))
    (tmp_path / "kea-leases4.csv.output").write_text(KEA_HEAD + kea("192.0.2.66", "unfinished"))

    found = await heard(file)

    assert sorted((one.address, one.name) for one in found.told) == [("192.0.2.8", "older"), ("192.0.2.9", "newest")]


async def test_what_kea_has_cleaned_up_stands_for_what_it_was_made_of(tmp_path: Path) -> None:
    file = tmp_path / "kea-leases4.csv"
    file.write_text(KEA_HEAD + kea("192.0.2.9", "newest"))
    (tmp_path / "kea-leases4.csv.completed").write_text(KEA_HEAD + kea("192.0.2.8", "clean"))
    (tmp_path / "kea-leases4.csv.2").write_text(KEA_HEAD + kea("192.0.2.66", "gone since"))

    found = await heard(file)

    assert sorted((one.address, one.name) for one in found.told) == [("192.0.2.8", "clean"), ("192.0.2.9", "newest")]


async def test_files_beside_a_file_that_is_not_keas_are_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "leases"
    file.write_text(line())
    (tmp_path / "leases.1").write_text(line("192.0.2.66"))

    found = await heard(file)

    assert [one.address for one in found.told] == ["192.0.2.7"]


async def test_a_missing_file_is_a_failure_with_a_way_out_and_hides_no_other(tmp_path: Path) -> None:
    file = tmp_path / "leases"
    file.write_text(line())

    found = await heard(tmp_path / "no.leases", file)

    missing, there = found.reports
    assert (missing.state, there.state) == ("failed", "heard")
    assert missing.detail == (
        f"there is no file {tmp_path}/no.leases. Correct its name in site.toml under [discovery] leases"
    )


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"hello\n", "holds no leases: neither dnsmasq, nor Kea's memfile, nor ISC dhcpd writes such a file"),
        (b"1 " * leases.MAX_FILE_BYTES, "has more than 16 MiB"),
    ],
)
async def test_a_file_that_is_none_of_leases_is_a_failure(tmp_path: Path, content: bytes, reason: str) -> None:
    file = tmp_path / "leases"
    file.write_bytes(content)

    found = await heard(file)

    assert found.reports[0].state == "failed"
    assert reason in found.reports[0].detail


async def test_a_folder_and_a_pipe_are_said_to_be_no_files(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()

    found = await heard(tmp_path / "pipe", tmp_path / "folder")

    assert [report.state for report in found.reports] == ["failed", "failed"]
    assert "cannot be read (not a regular file)" in found.reports[0].detail
    assert "cannot be read (is a directory)" in found.reports[1].detail


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
async def test_a_file_that_may_not_be_read_is_a_failure(tmp_path: Path) -> None:
    file = tmp_path / "leases"
    file.write_text(line())
    file.chmod(0)

    found = await heard(file)

    assert "cannot be read (permission denied)" in found.reports[0].detail


async def test_more_leases_than_the_limit_are_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leases, "MAX_SIGHTINGS", 2)
    file = tmp_path / "leases"
    file.write_text("".join(line(f"192.0.2.{number}") for number in range(1, 6)))

    found = await heard(file)

    assert len(found.told) == 2
    assert "3 over the limits and left out" in found.reports[0].detail
