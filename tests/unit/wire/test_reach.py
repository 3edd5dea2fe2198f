"""Which addresses we may connect to."""

import ipaddress

import pytest

from pattress.wire.reach import Reach, own_addresses, reach_of

HOUSE = tuple(map(ipaddress.ip_network, ("192.0.2.0/24", "2001:db8:7::/64", "fe80::/10")))
OWN = frozenset(map(ipaddress.ip_address, ("192.0.2.5", "2001:db8:7::5", "fe80::5", "127.0.0.1", "::1")))
REACH = Reach(networks=HOUSE, own=OWN)
EVERYWHERE = Reach(networks=tuple(map(ipaddress.ip_network, ("0.0.0.0/0", "::/0"))), own=OWN)
BENCH = Reach(networks=(ipaddress.ip_network("127.0.0.0/8"),), own=OWN)


@pytest.mark.parametrize(
    "address", ["192.0.2.17", "::ffff:192.0.2.17", "2001:db8:7::17", "fe80::17%iot0", "fe80::17", "fe80::17%3"]
)
def test_a_device_inside_may_be_asked(address: str) -> None:
    assert REACH.refusal(address) is None


@pytest.mark.parametrize(
    "address",
    [
        "192.0.2.5",
        "::ffff:192.0.2.5",
        "::ffff:c000:205",
        "2001:db8:7::5",
        "2001:0DB8:7:0::0005",
        "fe80::5",
        "fe80::5%iot0",
    ],
)
def test_our_own_address_is_refused_however_it_is_written(address: str) -> None:
    refusal = REACH.refusal(address)

    assert refusal is not None
    assert refusal.endswith(" is an address of this host")


@pytest.mark.parametrize(
    "address",
    ["198.51.100.1", "::ffff:198.51.100.1", "2001:db8:8::1", "10.0.0.1", "127.0.0.1", "::1", "169.254.169.254"],
)
def test_what_is_outside_is_refused(address: str) -> None:
    refusal = REACH.refusal(address)

    assert refusal is not None
    assert refusal.endswith(" is outside the site's device networks")


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.2", "127.255.255.254", "::1", "::ffff:127.0.0.1"])
def test_loopback_is_this_host_in_every_network_that_is_not_loopback_itself(address: str) -> None:
    refusal = EVERYWHERE.refusal(address)

    assert refusal is not None
    assert refusal.endswith(" is an address of this host")


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.2", "::ffff:127.0.0.1"])
def test_loopback_may_be_asked_on_a_test_bench(address: str) -> None:
    assert BENCH.refusal(address) is None


def test_a_bench_on_loopback_does_not_open_our_other_addresses() -> None:
    both = Reach(networks=(*BENCH.networks, *HOUSE), own=OWN)

    assert both.refusal("192.0.2.5") == "192.0.2.5 is an address of this host"


@pytest.mark.parametrize("address", ["224.0.0.251", "ff02::fb", "0.0.0.0", "::", "ff02::fb%iot0"])
def test_an_address_of_many_or_none_is_refused(address: str) -> None:
    refusal = EVERYWHERE.refusal(address)

    assert refusal is not None
    assert refusal.endswith(" is not the address of one device")


@pytest.mark.parametrize(
    "address",
    ["", "tern.local", "localhost", "127.1", "2130706433", "0x7f000001", "0177.0.0.1", "192.0.2.17:80", "192.0.2.17/24",
     " 192.0.2.17", "192.0.2.17\n", "[2001:db8:7::17]", "192.0.2.017"],
)  # fmt: skip
def test_what_is_not_an_address_is_refused(address: str) -> None:
    refusal = EVERYWHERE.refusal(address)

    assert refusal == f"{address!r} is not an IP address"


@pytest.mark.parametrize(
    "zone", ["iot0]@198.51.100.1", "iot0/../", "a b", "iot0?x=", "iot0#", "x" * 16, "iot0\r\nHost: x", "iot0:80"]
)
def test_a_zone_that_would_change_a_url_is_refused(zone: str) -> None:
    refusal = REACH.refusal(f"fe80::17%{zone}")

    assert refusal is not None
    assert refusal.endswith(("has a zone that is not the name of an interface", "is not an IP address"))


def test_the_addresses_of_this_host_are_its_own() -> None:
    assert ipaddress.ip_address("127.0.0.1") in own_addresses()
    assert reach_of(HOUSE) == Reach(networks=HOUSE, own=own_addresses())
