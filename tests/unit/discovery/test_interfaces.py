"""The choice of interfaces."""

from ipaddress import ip_address, ip_network

import pytest

from pattress.discovery.interfaces import NoInterfaceError, chosen_interfaces, find_interface, interfaces_inside
from pattress.model.site import Networks

DEVICES = (ip_network("192.0.2.0/24"), ip_network("2001:db8::/64"))


def test_each_interface_with_an_address_among_the_devices_is_chosen_once() -> None:
    addresses = [
        ("lan0", ip_address("198.51.100.2")),
        ("iot0", ip_address("192.0.2.2")),
        ("iot0", ip_address("2001:db8::2")),
        ("iot1", ip_address("2001:db8::3")),
        ("lan0", ip_address("fe80::1%lan0")),
    ]

    assert interfaces_inside(DEVICES, addresses) == ("iot0", "iot1")


def test_named_interfaces_are_taken_as_they_are() -> None:
    networks = Networks(devices=DEVICES, inside=DEVICES, interfaces=("iot7", "192.0.2.9"))

    assert chosen_interfaces(networks) == ("iot7", "192.0.2.9")


def test_without_names_the_interfaces_of_this_host_are_looked_through() -> None:
    loopback = (ip_network("127.0.0.0/8"),)

    assert chosen_interfaces(Networks(devices=loopback, inside=loopback)) == ("lo",)


def test_an_address_means_its_own_family_only() -> None:
    interface = find_interface("127.0.0.1")

    assert (interface.name, interface.address, interface.has_ipv6) == ("lo", ip_address("127.0.0.1"), False)
    assert interface.families == "IPv4"


def test_a_name_means_every_family_of_the_interface() -> None:
    interface = find_interface("lo")

    assert interface.address == ip_address("127.0.0.1")


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("no-such-if", "no interface no-such-if"),
        ("203.0.113.77", "no interface of this host has the address 203.0.113.77"),
        ("127.0.0.1%lo", "no interface 127.0.0.1%lo"),
        ("", "no interface "),
    ],
)
def test_an_interface_that_is_not_there_is_said_with_a_way_out(wanted: str, words: str) -> None:
    with pytest.raises(NoInterfaceError, match=words) as failure:
        find_interface(wanted)

    assert "[networks] interfaces" in str(failure.value)
