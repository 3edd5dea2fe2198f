"""What the emulated router tells is what an independent decoder reads, and what ours does."""

import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from typing import Any

import netflow
import numpy as np
import pytest

from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.tally import Tally
from pattress.lab.flow_messages import MAX_MESSAGE_OCTETS, TEMPLATES_EVERY, Flow, FlowEncoder, Version
from pattress.model.encounter import Traffic

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
LAMP, FAR = ip_address("192.0.2.11"), ip_address("203.0.113.9")
FLOW = Flow(
    sender=LAMP, receiver=FAR, sender_port=50_001, receiver_port=443, packets=12, octets=2_400, flags=0x1B,
    began_at=NOON - timedelta(seconds=9), ended_at=NOON,
)  # fmt: skip
FLOW6 = replace(FLOW, sender=ip_address("2001:db8:7::11"), receiver=ip_address("2001:db8:bad::9"))
ECHO = replace(FLOW, protocol=1, sender_port=0, receiver_port=0, icmp_type=8, flags=0)


def encoder(version: Version = 10, **more: Any) -> FlowEncoder:
    return FlowEncoder(version=version, started_at=NOON - timedelta(hours=2), **more)


def decoded(messages: list[bytes], tally: Tally | None = None) -> list[Traffic]:
    tally = tally or Tally()
    found = FlowDecoder().decode([("192.0.2.1", 4_000, one) for one in messages], NOON, lambda _: tally)
    rows = [(columns, np.arange(columns.count)) for columns in found]
    return [
        one for columns, all_rows in rows for one in traffic_of(columns, all_rows, "r", NOON, is_after_filter=False)
    ]


@pytest.mark.parametrize("version", [5, 9, 10])
def test_an_independent_decoder_reads_the_same(version: Version) -> None:
    templates: dict[str, Any] = {"netflow": {}, "ipfix": {}}
    messages = encoder(version).messages([FLOW], NOON)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        [flow] = [flow.data for message in messages for flow in netflow.parse_packet(message, templates).flows]

    names = {
        5: ("IPV4_SRC_ADDR", "IPV4_DST_ADDR", "SRC_PORT", "DST_PORT", "IN_PACKETS", "IN_OCTETS", "PROTO", "TCP_FLAGS",
            "FIRST_SWITCHED"),
        9: ("IPV4_SRC_ADDR", "IPV4_DST_ADDR", "L4_SRC_PORT", "L4_DST_PORT", "IN_PKTS", "IN_BYTES", "PROTOCOL",
            "TCP_FLAGS", "FIRST_SWITCHED"),
        10: ("sourceIPv4Address", "destinationIPv4Address", "sourceTransportPort", "destinationTransportPort",
             "packetDeltaCount", "octetDeltaCount", "protocolIdentifier", "tcpControlBits",
             "flowStartMilliseconds"),
    }[version]  # fmt: skip
    ends = [str(ip_address(flow[name])) for name in names[:2]]
    assert ends == [str(LAMP), str(FAR)]
    assert [flow[name] for name in names[2:-1]] == [50_001, 443, 12, 2_400, 6, 0x1B]
    counts_from = NOON - timedelta(hours=2) if version != 10 else datetime.fromtimestamp(0, UTC)
    assert counts_from + timedelta(milliseconds=flow[names[-1]]) == FLOW.began_at


@pytest.mark.parametrize("version", [5, 9, 10])
def test_our_decoder_reads_all_of_it(version: Version) -> None:
    tally = Tally()

    [flow, echo] = decoded(encoder(version).messages([FLOW, ECHO], NOON), tally)

    assert (flow.sender, flow.receiver, flow.sender_port, flow.receiver_port) == (LAMP, FAR, 50_001, 443)
    assert (flow.packets, flow.octets, flow.flags) == (12, 2_400, 0x1B)
    assert (echo.protocol, echo.icmp_type, echo.sender_port) == (1, 8, None)
    assert (tally.heard, tally.lost, tally.refused) == (2, 0, 0)


def test_all_that_a_record_may_have_beside_its_ends_is_read() -> None:
    mac, public = "00:00:5e:00:53:11", ip_address("203.0.113.77")
    whole = replace(FLOW, back=(3, 900, 0x12), nat_sender=(public, 61_000), sender_mac=mac, is_denied=True)

    [found] = decoded(encoder().messages([whole], NOON))
    [found6] = decoded(encoder().messages([FLOW6], NOON))

    assert (found.sender, found.receiver, found.sender_port) == (LAMP, FAR, 50_001)
    assert (found.back_packets, found.back_octets, found.back_flags) == (3, 900, 0x12)
    assert (found.sender_mac, found.verdict) == (mac, "dropped")
    assert (found6.sender, found6.receiver, found6.octets) == (FLOW6.sender, FLOW6.receiver, 2_400)


@pytest.mark.parametrize("version", [5, 9, 10])
def test_sampling_is_told(version: Version) -> None:
    [found] = decoded(encoder(version, sampling=100).messages([FLOW], NOON))

    assert found.sampling == 100


def test_templates_are_told_first_and_again_after_their_time() -> None:
    told = encoder()

    counts = [
        len(told.messages([FLOW], NOON + at)) for at in (0 * TEMPLATES_EVERY, TEMPLATES_EVERY / 2, TEMPLATES_EVERY)
    ]

    assert counts == [2, 1, 2]
    assert decoded(told.messages([FLOW], NOON, templates="never")) == []


@pytest.mark.parametrize("version", [5, 9, 10])
def test_what_it_numbers_follows_one_from_the_other(version: Version) -> None:
    told, decoder, tally = encoder(version), FlowDecoder(), Tally()

    for minute in range(30):
        messages = told.messages([FLOW, ECHO] * (minute % 3), NOON + timedelta(minutes=minute))
        decoder.decode([("192.0.2.1", 4_000, one) for one in messages], NOON, lambda _: tally)

    assert (tally.heard, tally.lost) == (60, 0)


@pytest.mark.parametrize("version", [5, 9, 10])
def test_many_flows_are_many_messages_that_each_fit_a_packet(version: Version) -> None:
    messages = encoder(version).messages([replace(FLOW, sender_port=1_024 + number) for number in range(200)], NOON)

    assert max(map(len, messages)) <= max(MAX_MESSAGE_OCTETS, 24 + 30 * 48)
    assert len(decoded(messages)) == 200


@pytest.mark.parametrize(
    ("version", "flow"), [(5, FLOW6), (5, replace(FLOW, back=(1, 1, 0))), (9, replace(FLOW, back=(1, 1, 0)))]
)
def test_what_a_protocol_cannot_tell_is_an_error(version: Version, flow: Flow) -> None:
    with pytest.raises(ValueError, match="NetFlow"):
        encoder(version).messages([flow], NOON)
