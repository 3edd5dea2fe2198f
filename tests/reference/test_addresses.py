"""Addresses in their one form, against the standards that define it."""

import ipaddress

import pytest

from pattress.model.addresses import is_inside, is_locally_administered, normal_address, normal_mac, parse_address


@pytest.mark.parametrize(
    ("written", "canonical", "source"),
    [
        ("2001:0db8::0001", "2001:db8::1", "RFC 5952 section 4.1: leading zeros are suppressed"),
        ("2001:db8:0:0:0:0:2:1", "2001:db8::2:1", "RFC 5952 section 4.2.1: shortened as much as possible"),
        ("2001:db8::0:1", "2001:db8::1", "RFC 5952 section 4.2.1"),
        ("2001:db8:0:1:1:1:1:1", "2001:db8:0:1:1:1:1:1", "RFC 5952 section 4.2.2: not for one field"),
        ("2001:db8::1:1:1:1:1", "2001:db8:0:1:1:1:1:1", "RFC 5952 section 4.2.2"),
        ("2001:0:0:1:0:0:0:1", "2001:0:0:1::1", "RFC 5952 section 4.2.3: the longest run"),
        ("2001:db8:0:0:1:0:0:1", "2001:db8::1:0:0:1", "RFC 5952 section 4.2.3: the first of equal runs"),
        ("2001:DB8::AB", "2001:db8::ab", "RFC 5952 section 4.3: lower case"),
        ("::ffff:192.0.2.1", "192.0.2.1", "RFC 4291 section 2.5.5.2: IPv4-mapped, unwrapped"),
        ("fe80::1%eth0", "fe80::1%eth0", "RFC 4007 section 11: the zone is kept"),
        ("192.0.2.1", "192.0.2.1", "RFC 5737"),
    ],
)
def test_an_address_has_one_form(written: str, canonical: str, source: str) -> None:
    assert normal_address(written) == canonical, source


@pytest.mark.parametrize("text", ["", "192.0.2", "192.0.2.256", "192.0.02.1", "2130706433", "127.1", "::g", "host"])
def test_what_is_no_address_has_no_form(text: str) -> None:
    assert normal_address(text) is None


@pytest.mark.parametrize("written", ["00:00:5E:00:53:01", "00-00-5e-00-53-01", "0000.5e00.5301", "00005E005301"])
def test_a_hardware_address_has_one_form(written: str) -> None:
    """IEEE 802-2014 section 8.1 writes hyphens; colons, dots and none are common practice. The range: RFC 7042."""
    assert normal_mac(written) == "00:00:5e:00:53:01"


@pytest.mark.parametrize("text", ["", "00:00:5e:00:53", "00:00:5e:00:53:zz", "00:00-5e:00:53:01", "0000:5e00:5301"])
def test_what_is_no_hardware_address_has_no_form(text: str) -> None:
    assert normal_mac(text) is None


@pytest.mark.parametrize(
    ("mac", "expected"),
    [
        ("00:00:5e:00:53:01", False),
        ("02:00:00:00:00:01", True),
        ("de:ad:be:ef:00:00", True),
        ("cc:00:00:00:00:01", False),
    ],
)
def test_the_local_bit_is_the_second_of_the_first_octet(mac: str, expected: bool) -> None:
    """IEEE 802-2014 section 8.2.2: the U/L bit."""
    assert is_locally_administered(mac) is expected


def test_a_mapped_address_is_inside_the_network_of_its_ipv4_address() -> None:
    """RFC 4291 section 2.5.5.2."""
    networks = (ipaddress.ip_network("192.0.2.0/24"), ipaddress.ip_network("fe80::/10"))

    inside = [parse_address(text) for text in ("::ffff:192.0.2.9", "fe80::1%eth0")]
    outside = parse_address("::ffff:198.51.100.1")

    assert all(address is not None and is_inside(address, networks) for address in inside)
    assert outside is not None
    assert not is_inside(outside, networks)
