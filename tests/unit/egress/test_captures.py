"""Telling files apart, and what of flow export is in them."""

import gzip
import struct
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pattress.egress import captures
from pattress.egress.captures import Captured, datagrams_of, kind_of
from pattress.egress.tally import Tally
from pattress.model.errors import CaptureError
from unit.egress.captured_bytes import AT_S, EXPORTER, EXPORTER6, IPFIX, ethernet, ip4, ip6, pcap, pcapng, udp

SENT_AT = datetime.fromtimestamp(1_780_000_000, UTC)
NETFLOW9 = struct.pack("!HHIIII", 9, 0, 1000, 1_780_000_060, 1, 1)
NETFLOW5 = struct.pack("!HHIIIIHH", 5, 0, 1000, 1_780_000_120, 0, 0, 0, 0)


def test_files_are_told_apart(tmp_path: Path) -> None:
    files = {"empty.log": b"", "firewall.log": b"Nov 25 10:00:00 router kernel: iot-drop IN=iot0", "flow": IPFIX}
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    found = [pcap(tmp_path / "a.pcap", []), pcapng(tmp_path / "b", []), *(tmp_path / name for name in files), tmp_path]

    assert [kind_of(path) for path in found] == ["capture", "capture", "log", "log", "datagram", "folder"]


def test_what_is_neither_packets_nor_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "picture").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")

    with pytest.raises(
        CaptureError, match="neither a capture of packets, nor a saved datagram of flow export, nor text"
    ):
        kind_of(tmp_path / "picture")


def test_flow_export_is_found_in_a_capture_whatever_its_port(tmp_path: Path) -> None:
    packets = [
        ethernet(ip4(udp(IPFIX, (40000, 4739)))),
        ethernet(ip4(udp(b"\x12\x34 a question", (40001, 53)))),
        ethernet(ip6(udp(NETFLOW9, (40002, 9995)))),
        ethernet(ip4(udp(NETFLOW5, (40003, 12345)))),
    ]

    found = [list(datagrams_of(pcap(tmp_path / "a", packets))), list(datagrams_of(pcapng(tmp_path / "b", packets)))]

    at = datetime.fromtimestamp(AT_S, UTC)
    told = [
        Captured(sender=ip_address(EXPORTER), port=40000, at=at, payload=IPFIX),
        Captured(sender=ip_address(EXPORTER6), port=40002, at=at + timedelta(seconds=2), payload=NETFLOW9),
        Captured(sender=ip_address(EXPORTER), port=40003, at=at + timedelta(seconds=3), payload=NETFLOW5),
    ]
    assert found == [told, told]


def test_saved_datagrams_of_a_folder_come_by_name_and_when_they_say(tmp_path: Path) -> None:
    (tmp_path / "2").write_bytes(NETFLOW9)
    (tmp_path / "3").write_bytes(NETFLOW5)
    (tmp_path / "1").write_bytes(IPFIX)
    (tmp_path / ".hidden").write_bytes(b"not looked at")

    found = list(datagrams_of(tmp_path))

    assert found == [
        Captured(sender=None, port=0, at=SENT_AT + timedelta(minutes=minute), payload=payload)
        for minute, payload in enumerate((IPFIX, NETFLOW9, NETFLOW5))
    ]
    assert list(datagrams_of(tmp_path / "2")) == [found[1]]


def test_what_was_captured_in_part_is_counted(tmp_path: Path) -> None:
    path = pcap(tmp_path / "flows.pcap", [ethernet(ip4(udp(IPFIX)))[:50], ethernet(ip4(udp(IPFIX)))])
    tally = Tally()

    found = list(datagrams_of(path, tally))

    assert len(found) == 1
    assert tally == Tally(lost=1)


def _no_file(path: Path) -> Path:
    return path / "missing.pcap"


def _log(path: Path) -> Path:
    (path / "a.log").write_bytes(b"a line")
    return path / "a.log"


def _other_link(path: Path) -> Path:
    return pcap(path / "radio.pcap", [bytes(60)], link_type=127)


def _compressed(path: Path) -> Path:
    (path / "flows.pcap.gz").write_bytes(gzip.compress(b"anything"))
    return path / "flows.pcap.gz"


def _long(path: Path) -> Path:
    (path / "long").write_bytes(IPFIX + bytes(70_000))
    return path / "long"


def _short(path: Path) -> Path:
    (path / "short").write_bytes(IPFIX[:7])
    return path / "short"


def _folder_with_log(path: Path) -> Path:
    (path / "folder").mkdir()
    _log(path / "folder")
    return path / "folder"


def _folder_of_folders(path: Path) -> Path:
    (path / "outer" / "inner").mkdir(parents=True)
    return path / "outer"


@pytest.mark.parametrize(
    ("made", "what"),
    [
        (_no_file, "missing.pcap: it cannot be read (no such file or directory)."),
        (_log, "a.log: it is neither a capture of packets nor a saved datagram of flow export."),
        (_other_link, "radio.pcap: it has packets of link type 127, which is not read."),
        (_compressed, "flows.pcap.gz: it is compressed. Unpack it"),
        (_long, "long: it is no saved datagram of flow export."),
        (_short, "short: it is no saved datagram of flow export."),
        (_folder_with_log, "a.log: it is no saved datagram of flow export."),
        (_folder_of_folders, "it cannot be read (is a directory)."),
    ],
)
def test_what_cannot_be_looked_at_is_said(made: Callable[[Path], Path], what: str, tmp_path: Path) -> None:
    path = made(tmp_path)

    with pytest.raises(CaptureError) as raised:
        list(datagrams_of(path))

    assert what in str(raised.value)


def test_the_files_of_a_folder_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(captures, "MAX_FILES", 2)
    for name in "123":
        (tmp_path / name).write_bytes(IPFIX)

    with pytest.raises(CaptureError, match="more than 2 files"):
        list(datagrams_of(tmp_path))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(start=st.sampled_from([b"", b"\xd4\xc3\xb2\xa1", b"\x0a\x0d\x0d\x0a", IPFIX, NETFLOW5]), rest=st.binary())
def test_no_file_does_worse_than_an_error(start: bytes, rest: bytes, tmp_path: Path) -> None:
    path = tmp_path / "anything"
    path.write_bytes(start + rest)

    try:
        found = list(datagrams_of(path))
    except CaptureError:
        found = []

    assert all(one.payload[:2] in (b"\x00\x05", b"\x00\x09", b"\x00\x0a") for one in found)
