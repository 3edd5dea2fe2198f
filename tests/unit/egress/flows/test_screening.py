"""Rows chosen by where their ends are; `Space` and plain Python are the reference."""

from collections.abc import Sequence
from datetime import UTC, datetime
from ipaddress import ip_address, ip_network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.flows import screening
from pattress.egress.flows.columns import Columns
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.screening import Screened, screened
from pattress.egress.space import Space
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tally
from pattress.model.addresses import IPAddress, plain_address
from pattress.model.site import Networks
from unit.egress.flows.house_flows import NETWORKS, data, export, flow, message, template

SPACE = Space(NETWORKS)
NOON = datetime(2026, 5, 28, 12, tzinfo=UTC)

PLACES4 = (
    *("192.0.2.7", "192.0.2.8", "192.0.2.255", "198.51.100.5", "198.51.100.9", "203.0.113.9", "9.9.9.9"),
    *("224.0.0.251", "239.255.255.255", "255.255.255.255", "0.0.0.0", "10.0.0.1"),
)
PLACES6 = (
    *("2001:db8:7::7", "2001:db8:7:0:8::", "2001:db8:8::5", "2001:db8:bad::9", "2620:fe::fe", "ff02::fb", "::"),
    *("fe80::1", "::ffff:192.0.2.7", "fd00::1"),
)


def columns(datagram: bytes) -> Columns:
    [found] = FlowDecoder().decode([("198.51.100.1", 4739, datagram)], NOON, lambda _: Tally())
    return found


def screen(*records: bytes, version: int = 4) -> Screened:
    return screened(columns(export(records, version=version)), BulkSpace(SPACE))


def test_rows_between_a_device_and_the_outside_are_chosen_in_their_order() -> None:
    found = screen(
        flow("192.0.2.7", "192.0.2.1"),
        flow("203.0.113.9", "192.0.2.7"),
        flow("198.51.100.5", "203.0.113.9"),
        flow("192.0.2.8", "9.9.9.9"),
    )

    assert found.rows.tolist() == [1, 3]


def test_the_outside_without_a_device_is_counted() -> None:
    found = screen(
        flow("198.51.100.5", "203.0.113.9"),
        flow("203.0.113.9", "9.9.9.9"),
        flow("203.0.113.9", "224.0.0.1"),
        flow("198.51.100.5", "198.51.100.6"),
        flow("192.0.2.7", "203.0.113.9"),
    )

    assert found.unmatched == 3


def test_a_call_is_told_once_however_many_flows_it_makes() -> None:
    found = screen(*[flow("192.0.2.7", "198.51.100.5", (40000 + number, 53), 17) for number in range(30)])

    assert found.calls == [(ip_address("192.0.2.7"), ip_address("198.51.100.5"), 53)]


def test_a_call_that_is_written_in_ipv6_is_the_same_call() -> None:
    found = screen(flow("::ffff:192.0.2.7", "::ffff:198.51.100.5", (40000, 53), 17), version=6)

    assert found.calls == [(ip_address("192.0.2.7"), ip_address("198.51.100.5"), 53)]


@pytest.mark.parametrize(
    ("record", "why"),
    [
        (flow("192.0.2.7", "198.51.100.5", (80, 40000)), "an answer: the lower port is his own"),
        (flow("192.0.2.7", "198.51.100.5", (123, 123), 17), "nobody can be told to have begun"),
        (flow("192.0.2.7", "203.0.113.9"), "to the outside"),
        (flow("198.51.100.5", "192.0.2.7"), "by somebody else"),
        (flow("192.0.2.7", "224.0.0.251", (40000, 5353), 17), "multicast"),
        (flow("192.0.2.7", "255.255.255.255", (40000, 67), 17), "broadcast"),
        (flow("192.0.2.7", "192.0.2.255", (40000, 5000), 17), "broadcast of the device network"),
        (flow("192.0.2.7", "0.0.0.0", (40000, 67), 17), "no address"),
    ],
)
def test_what_is_no_call_is_not_told_as_one(record: bytes, why: str) -> None:
    found = screen(record)

    assert found.calls == [], why


@pytest.mark.parametrize(
    ("record", "why"),
    [
        (flow("2001:db8:7::7", "ff02::fb", (40000, 5353), 17), "multicast"),
        (flow("2001:db8:7::7", "::", (40000, 5353), 17), "no address"),
    ],
)
def test_what_is_no_call_by_ipv6_is_not_told_as_one(record: bytes, why: str) -> None:
    found = screen(record, version=6)

    assert found.calls == [], why


def test_another_device_may_be_called_and_so_may_the_last_address_that_is_no_broadcast() -> None:
    space = BulkSpace(Space(Networks(devices=(ip_network("192.0.2.8/32"),), inside=(ip_network("192.0.2.0/24"),))))

    found = screened(columns(export([flow("192.0.2.8", "192.0.2.9"), flow("192.0.2.8", "192.0.2.8")])), space)

    assert [host for _, host, _ in found.calls] == [ip_address("192.0.2.8"), ip_address("192.0.2.9")]


def test_where_there_are_no_ports_every_flow_is_a_call() -> None:
    echo = flow("192.0.2.7", "198.51.100.5", (0, 2048), 1)
    ports_unknown = message(template(400, ((8, 4), (12, 4))), data(400, [flow("192.0.2.7", "198.51.100.6")[:8]]))

    calls = [*screen(echo).calls, *screened(columns(ports_unknown), BulkSpace(SPACE)).calls]

    assert calls == [
        (ip_address("192.0.2.7"), ip_address("198.51.100.5"), None),
        (ip_address("192.0.2.7"), ip_address("198.51.100.6"), None),
    ]


def test_a_port_longer_than_two_octets_is_read_as_far_as_it_is_one() -> None:
    fields = ((8, 4), (12, 4), (7, 8), (11, 8))
    ends = flow("192.0.2.7", "198.51.100.5")[:8]
    plain = ends + (2**63).to_bytes(8) + (53).to_bytes(8)
    absurd = ends + (2**64 - 1).to_bytes(8) + (2**63).to_bytes(8)

    found = screened(columns(message(template(400, fields), data(400, [plain, absurd]))), BulkSpace(SPACE))

    assert [port for _, _, port in found.calls] == [53, None]


def test_more_calls_than_are_handed_on_are_thinned_for_every_device_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screening, "MAX_CALLS", 20)

    found = screen(
        *[flow("192.0.2.7", f"198.51.100.{host}") for host in range(1, 31)],
        *[flow("192.0.2.8", f"198.51.100.{host}") for host in range(1, 31)],
    )

    devices = [str(device) for device, _, _ in found.calls]
    assert devices == ["192.0.2.7"] * 10 + ["192.0.2.8"] * 10


Ends = tuple[str, str, int, int, int]


def _ends(places: Sequence[str]) -> st.SearchStrategy[list[Ends]]:
    place, port = st.sampled_from(places), st.sampled_from([0, 53, 123, 443, 40000, 65535])
    return st.lists(st.tuples(place, place, port, port, st.sampled_from([1, 6, 17, 58, 132, 255])), min_size=1)


@pytest.mark.parametrize("version", [4, 6])
@given(drawn=st.data())
def test_it_chooses_as_one_by_one_would(version: int, drawn: st.DataObject) -> None:
    rows = drawn.draw(_ends(PLACES4 if version == 4 else PLACES6))

    found = screen(*[flow(one, two, (low, high), protocol) for one, two, low, high, protocol in rows], version=version)

    sides = [{SPACE.side(ip_address(one)), SPACE.side(ip_address(two))} for one, two, *_ in rows]
    assert found.rows.tolist() == [at for at, pair in enumerate(sides) if pair == {"device", "outside"}]
    assert found.unmatched == sum("outside" in pair and "device" not in pair for pair in sides)
    assert len(found.calls) == len(set(found.calls))
    assert set(found.calls) == {
        (plain(one), plain(two), high if protocol in (6, 17, 132) else None)
        for one, two, low, high, protocol in rows
        if _is_call(one, two) and (low > high or protocol not in (6, 17, 132))
    }


def _is_call(sender: str, receiver: str) -> bool:
    if SPACE.side(ip_address(sender)) != "device" or SPACE.side(ip_address(receiver)) == "outside":
        return False
    is_broadcast = receiver in ("192.0.2.255", "255.255.255.255")
    return not (ip_address(receiver).is_multicast or ip_address(receiver).is_unspecified or is_broadcast)


def plain(address: str) -> IPAddress:
    return plain_address(ip_address(address))
