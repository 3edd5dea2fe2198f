"""Which side of the site an address is on."""

import subprocess
import sys
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from itertools import pairwise

import pytest
from hypothesis import given

from pattress.egress.space import AddressSide, Space, unwrapped
from pattress.egress.special_purpose import special_purpose
from pattress.model.addresses import IPAddress, IPNetwork
from pattress.model.site import Networks
from unit.egress.sites import EDGES4, EDGES6, NETWORKS, addresses

SPACE = Space(NETWORKS)


@pytest.mark.parametrize(
    ("address", "side", "why"),
    [
        ("192.0.2.17", "device", "of the device networks, though documentation and named outside"),
        ("192.0.2.255", "inside", "the broadcast of a device network is no device"),
        ("198.18.5.6", "device", "a network of one address has no broadcast"),
        ("198.51.100.9", "inside", "of the site"),
        ("17.1.2.3", "inside", "of the site, though global"),
        ("17.128.0.0", "outside", "just beyond"),
        ("203.0.113.9", "outside", "named outside, though documentation"),
        ("192.0.0.8", "outside", "named outside, though a dummy address"),
        ("10.0.0.1", "inside", "private use"),
        ("172.32.0.1", "outside", "just beyond private use"),
        ("198.168.1.12", "outside", "looks like private use and is not"),
        ("224.0.0.251", "inside", "multicast"),
        ("224.9.0.1", "inside", "multicast, though named outside"),
        ("239.255.255.250", "inside", "multicast"),
        ("255.255.255.255", "inside", "broadcast"),
        ("0.0.0.0", "inside", "unspecified"),
        ("127.0.0.1", "inside", "loopback"),
        ("169.254.1.1", "inside", "link-local"),
        ("8.8.8.8", "outside", "all else"),
        ("192.88.99.1", "outside", "relays of 6to4 are on the Internet"),
        ("2001:db8:7::9", "device", "of the device networks"),
        ("2001:db8:0:1::9", "inside", "of the site"),
        ("2001:db8:bad::1", "outside", "named outside"),
        ("2001:db8:1::1", "inside", "documentation"),
        ("fe80::1%eth0", "inside", "link-local; the zone is left aside"),
        ("2001:db8:7::9%iot0", "device", "the zone is left aside"),
        ("ff0e::1", "inside", "multicast of whatever scope"),
        ("fd20::7", "inside", "unique local"),
        ("fec0::1", "inside", "site-local"),
        ("2606:4700::1111", "outside", "all else"),
        ("4000::1", "outside", "not assigned is not inside"),
        ("::8.8.8.8", "outside", "IPv4-compatible addresses are no longer any"),
        ("::ffff:8.8.8.8", "outside", "IPv4-mapped"),
        ("::ffff:10.0.0.1", "inside", "IPv4-mapped"),
        ("::ffff:192.0.2.17", "device", "IPv4-mapped"),
        ("64:ff9b::8.8.8.8", "outside", "translated"),
        ("64:ff9b::192.0.2.17", "device", "translated"),
        ("64:ff9b:1:7::8.8.8.8", "outside", "translated by a prefix of the site's own"),
        ("64:ff9b:1::1", "inside", "translated from this network"),
        ("2002:808:808::1", "outside", "6to4 of a global address"),
        ("2002:a00:1::1", "inside", "6to4 of a private address"),
        ("2002:1100:1::1", "inside", "6to4 that the site names as its own"),
        ("2002:1180:1::1", "outside", "6to4 just beyond"),
        ("2001:0:808:808::f5ff:fffe", "outside", "Teredo: the server is outside, the client 10.0.0.1 is not"),
        ("2001:0:a00:1::f7f7:f7f7", "outside", "Teredo: the client 8.8.8.8 is outside, the server is not"),
        ("2001:0:a00:1::f5ff:fffe", "inside", "Teredo: neither is outside"),
    ],
)
def test_every_sort_of_address_has_its_side(address: str, side: AddressSide, why: str) -> None:
    assert SPACE.side(ip_address(address)) == side, why


@given(addresses)
def test_the_side_is_what_the_sentences_say(address: IPAddress) -> None:
    assert SPACE.side(address) == _side_in_words(address)


@pytest.mark.parametrize("numbers", [EDGES4, EDGES6], ids=["IPv4", "IPv6"])
def test_the_side_is_right_at_every_edge(numbers: list[int]) -> None:
    kind = IPv4Address if numbers is EDGES4 else IPv6Address

    wrong = [str(kind(number)) for number in numbers if SPACE.side(kind(number)) != _side_in_words(kind(number))]

    assert wrong == []


@pytest.mark.parametrize("version", [4, 6])
def test_the_ranges_are_the_whole_space_and_no_neighbours_are_alike(version: int) -> None:
    ranges = SPACE.ranges(4) if version == 4 else SPACE.ranges(6)

    starts = [start for start, _ in ranges]
    assert starts[0] == 0
    assert starts == sorted(set(starts))
    assert all(before[1] != after[1] for before, after in pairwise(ranges))


def test_a_site_may_call_everything_outside_but_what_is_no_place() -> None:
    space = Space(Networks(devices=(), inside=(), outside=(ip_network("0.0.0.0/0"), ip_network("::/0"))))

    sides = {
        text: space.side(ip_address(text)) for text in ("127.0.0.1", "0.0.0.0", "224.0.0.1", "::", "::1", "ff02::1")
    }

    assert [text for text, side in sides.items() if side == "outside"] == ["127.0.0.1", "::1"]


@pytest.mark.parametrize(
    ("address", "inner"),
    [
        ("192.0.2.1", "192.0.2.1"),
        ("2606:4700::1", "2606:4700::1"),
        ("fe80::1%eth0", "fe80::1"),
        ("::ffff:192.0.2.1", "192.0.2.1"),
        ("64:ff9b::192.0.2.33", "192.0.2.33"),
        ("64:ff9b:1:abcd::192.0.2.33", "192.0.2.33"),
        ("2002:c000:204::1", "192.0.2.4"),
        ("2001:0:4136:e378:8000:63bf:3fff:fdd2", "192.0.2.45"),
    ],
)
def test_an_address_in_an_address_is_unwrapped(address: str, inner: str) -> None:
    assert str(unwrapped(ip_address(address))) == inner


@given(addresses)
def test_unwrapping_agrees_with_the_library_where_it_knows_a_form(address: IPAddress) -> None:
    inner = unwrapped(address)

    if isinstance(address, IPv6Address):
        known = address.ipv4_mapped or address.sixtofour or (address.teredo[1] if address.teredo else None)
        assert known is None or inner == known


def test_dividing_and_allowing_need_no_numpy() -> None:
    """It has no wheel for 32-bit ARM, where all but bulk must work."""
    program = "import sys, pattress.egress.allowances, pattress.egress.space; print('numpy' in sys.modules)"

    answer = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True, timeout=60)

    assert answer.stdout == "False\n"


def _side_in_words(address: IPAddress) -> AddressSide:
    """The same, slowly, from the sentences of the documentation and with the library's own reading of addresses."""
    broadcasts = [network.broadcast_address for network in NETWORKS.devices if network.num_addresses > 2]
    if address.is_multicast or address.is_unspecified or str(address) == "255.255.255.255":
        return "inside"
    if address.version == 4 and address in broadcasts:
        return "inside"
    if _is_in(address, NETWORKS.devices):
        return "device"
    if _is_in(address, NETWORKS.inside):
        return "inside"
    if _is_in(address, NETWORKS.outside):
        return "outside"
    if isinstance(address, IPv6Address):
        held = _held(address)
        if held:
            sides = [_side_in_words(inner) for inner in held]
            return "outside" if "outside" in sides else sides[-1]
    entry = special_purpose(address)
    return "inside" if entry is not None and entry.is_global is False else "outside"


def _held(address: IPv6Address) -> tuple[IPv4Address, ...]:
    if address.teredo:
        return address.teredo
    if address.sixtofour or address.ipv4_mapped:
        return (address.sixtofour or address.ipv4_mapped,)  # type: ignore[return-value]
    if address in ip_network("64:ff9b::/96") or address in ip_network("64:ff9b:1::/48"):
        return (IPv4Address(address.packed[12:]),)
    return ()


def _is_in(address: IPAddress, networks: tuple[IPNetwork, ...]) -> bool:
    return any(address in network for network in networks)
