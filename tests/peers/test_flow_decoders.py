"""Flow export of an exporter that nobody here wrote, read by us and by two decoders that nobody here wrote.

softflowd exports a capture; nfdump and the package `netflow` say what is in it, record by record.
"""

import time
from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import netflow
import pytest

from pattress.model.encounter import Traffic
from peers.flow_exporter import UDP_ONE_WAY, export, read_with_nfdump, write_capture
from unit.egress.flows.export import Collector

pytestmark = pytest.mark.peer

TIMES = ("sec", "milli", "micro", "nano")  # none of which we use: fields of several lengths to step over
VERSIONS = [("-v", "5"), ("-v", "9"), ("-v", "10"), *(("-v", "10", "-A", time) for time in TIMES)]
BIFLOWS = ("-v", "10", "-b")

Row = tuple[str, str, int, int | None, int | None, int | None, int, int]
"""Sender, receiver, protocol, ports, type of ICMP, packets, octets."""


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("capture") / "house.pcap"
    write_capture(file, time.time() - 60)
    return file


def ours(datagrams: list[bytes]) -> tuple[list[Traffic], Collector]:
    collector = Collector()
    found = collector.traffic(*datagrams, now=datetime.now(UTC))
    return found, collector


def row(traffic: Traffic) -> Row:
    assert traffic.protocol is not None
    return (
        *(str(traffic.sender), str(traffic.receiver), traffic.protocol, traffic.sender_port, traffic.receiver_port),
        *(traffic.icmp_type, traffic.packets, traffic.octets),
    )


def nfdump_row(record: dict[str, Any]) -> Row:
    protocol = record["proto"]
    ports = (None, None) if protocol in (1, 58) else (record["src_port"], record["dst_port"])
    return (
        *(_either(record, "src4_addr", "src6_addr"), _either(record, "dst4_addr", "dst6_addr"), protocol, *ports),
        *(record.get("icmp_type") if protocol in (1, 58) else None, record["in_packets"], record["in_bytes"]),
    )


def netflow_row(record: dict[str, Any]) -> Row:
    """The package names fields by version, leaves v5's addresses integers, and knows no type of ICMP."""
    names = {
        "sender": ("sourceIPv4Address", "sourceIPv6Address", "IPV4_SRC_ADDR", "IPV6_SRC_ADDR"),
        "receiver": ("destinationIPv4Address", "destinationIPv6Address", "IPV4_DST_ADDR", "IPV6_DST_ADDR"),
        "protocol": ("protocolIdentifier", "PROTOCOL", "PROTO"),
        "sender_port": ("sourceTransportPort", "L4_SRC_PORT", "SRC_PORT"),
        "receiver_port": ("destinationTransportPort", "L4_DST_PORT", "DST_PORT"),
        "packets": ("packetDeltaCount", "IN_PKTS", "IN_PACKETS"),
        "octets": ("octetDeltaCount", "IN_BYTES", "IN_OCTETS"),
    }
    found = {ours: next((record[name] for name in theirs if name in record), None) for ours, theirs in names.items()}
    is_icmp = found["protocol"] in (1, 58)
    return (
        *(str(ip_address(found["sender"])), str(ip_address(found["receiver"])), found["protocol"]),
        *((None, None) if is_icmp else (found["sender_port"], found["receiver_port"])),
        *(None, found["packets"], found["octets"]),
    )


def netflow_rows(datagrams: Iterable[bytes]) -> Counter[Row]:
    templates: dict[str, Any] = {"netflow": {}, "ipfix": {}}
    flows = [flow.data for datagram in datagrams for flow in netflow.parse_packet(datagram, templates).flows]
    return Counter(netflow_row(flow) for flow in flows if "sourceIPv4Address" in flow or _has_addresses(flow))


@pytest.mark.parametrize("arguments", VERSIONS, ids=" ".join)
def test_our_records_are_those_of_nfdump(arguments: tuple[str, ...], capture: Path, tmp_path: Path) -> None:
    datagrams = export(capture, tmp_path, *arguments)

    found, collector = ours(datagrams)
    theirs = read_with_nfdump(datagrams, tmp_path)

    assert len(datagrams) >= 3
    assert len(found) > UDP_ONE_WAY
    assert Counter(map(row, found)) == Counter(map(nfdump_row, theirs))
    assert (collector.tally.lost, collector.tally.refused) == (0, 0)
    assert collector.decoder.waiting() == []


@pytest.mark.parametrize("arguments", VERSIONS, ids=" ".join)
def test_our_flags_are_those_of_nfdump(arguments: tuple[str, ...], capture: Path, tmp_path: Path) -> None:
    datagrams = export(capture, tmp_path, *arguments)

    found, _ = ours(datagrams)
    theirs = read_with_nfdump(datagrams, tmp_path)

    tcp = Counter((*row(traffic), traffic.flags) for traffic in found if traffic.protocol == 6)
    assert len(tcp) >= 3
    assert tcp == Counter(
        (*nfdump_row(record), _flags(record["tcp_flags"])) for record in theirs if record["proto"] == 6
    )


@pytest.mark.parametrize("arguments", VERSIONS[:3], ids=" ".join)
def test_our_records_are_those_of_the_package_netflow(
    arguments: tuple[str, ...], capture: Path, tmp_path: Path
) -> None:
    datagrams = export(capture, tmp_path, *arguments)

    found, _ = ours(datagrams)

    without_icmp_type = Counter((*row(traffic)[:5], None, *row(traffic)[6:]) for traffic in found)
    assert without_icmp_type == netflow_rows(datagrams)


def test_our_biflows_are_those_of_nfdump_both_ways(capture: Path, tmp_path: Path) -> None:
    datagrams = export(capture, tmp_path, *BIFLOWS)

    found, collector = ours(datagrams)
    theirs = read_with_nfdump(datagrams, tmp_path)

    assert Counter((*row(traffic), traffic.back_packets, traffic.back_octets) for traffic in found) == Counter(
        (*nfdump_row(record), record["out_packets"], record["out_bytes"]) for record in theirs
    )
    answered = [traffic for traffic in found if traffic.is_answered]
    assert {(str(traffic.sender), traffic.receiver_port) for traffic in answered} == {
        ("192.0.2.18", 443),
        ("2001:db8:7::18", 443),
    }
    assert all(traffic.is_answered is not None for traffic in found)
    assert (collector.tally.lost, collector.tally.refused) == (0, 0)


def test_sampling_that_the_exporter_tells_is_known(capture: Path, tmp_path: Path) -> None:
    """Its options come in the first datagram, before any flow."""
    samplings = {}
    for version in ("5", "9", "10"):
        found, _ = ours(export(capture, tmp_path, "-v", version, "-s", "4"))
        samplings[version] = {traffic.sampling for traffic in found}

    assert samplings == {"5": {4}, "9": {4}, "10": {4}}


def test_a_datagram_of_each_version_that_is_missing_is_counted_as_lost(capture: Path, tmp_path: Path) -> None:
    for arguments in VERSIONS[:3]:
        datagrams = export(capture, tmp_path, *arguments)
        whole, _ = ours(datagrams)

        found, collector = ours([*datagrams[:2], *datagrams[3:]])

        # NetFlow v9 numbers its packets: how many records were in one is taken from the others.
        off = 0.1 if arguments == ("-v", "9") else 0
        assert collector.tally.lost == pytest.approx(len(whole) - len(found), rel=off), arguments


def _either(record: dict[str, Any], fourth: str, sixth: str) -> str:
    return str(ip_address(record[fourth] if fourth in record else record[sixth]))


def _has_addresses(flow: dict[str, Any]) -> bool:
    return any(name in flow for name in ("sourceIPv6Address", "IPV4_SRC_ADDR", "IPV6_SRC_ADDR"))


def _flags(printed: str) -> int:
    return sum(1 << (7 - place) for place, letter in enumerate(printed) if letter != ".")
