"""The table of special-purpose addresses, row by row against the documents that its rows come from."""

from ipaddress import ip_address, ip_network

import pytest

from pattress.egress.space import AddressSide, Space
from pattress.egress.special_purpose import REGISTERED, UNREGISTERED, special_purpose
from pattress.model.site import Networks

# RFC 6890 sections 2.2.2 and 2.2.3, column "Global", with the correction of RFC 8190. An address of each block that no
# more specific block holds.
_RFC_6890 = [
    ("0.0.0.0/8", "0.255.255.255", False),
    ("10.0.0.0/8", "10.20.0.7", False),
    ("100.64.0.0/10", "100.64.0.1", False),
    ("127.0.0.0/8", "127.0.0.53", False),
    ("169.254.0.0/16", "169.254.1.1", False),
    ("172.16.0.0/12", "172.31.255.255", False),
    ("192.0.0.0/24", "192.0.0.200", False),
    ("192.0.0.0/29", "192.0.0.1", False),
    ("192.0.2.0/24", "192.0.2.1", False),
    ("192.88.99.0/24", "192.88.99.1", True),
    ("192.168.0.0/16", "192.168.1.1", False),
    ("198.18.0.0/15", "198.19.255.255", False),
    ("198.51.100.0/24", "198.51.100.23", False),
    ("203.0.113.0/24", "203.0.113.9", False),
    ("240.0.0.0/4", "255.255.255.254", False),
    ("255.255.255.255/32", "255.255.255.255", False),
    ("::1/128", "::1", False),
    ("::/128", "::", False),
    ("::ffff:0:0/96", "::ffff:10.0.0.1", False),
    ("64:ff9b::/96", "64:ff9b::808:808", True),
    ("100::/64", "100::1", False),
    ("2001::/23", "2001:1ff::1", False),
    ("2001::/32", "2001:0:1::1", None),  # RFC 8190: not applicable
    ("2001:2::/48", "2001:2::1", False),
    ("2001:db8::/32", "2001:db8:1::9", False),
    ("2001:10::/28", "2001:1f::1", False),
    ("2002::/16", "2002:a00:1::1", None),
    ("fc00::/7", "fd20::7", False),
    ("fe80::/10", "febf::1", False),
]
# Additions to the registries, each with its document: from memory.
_ADDITIONS = [
    ("192.0.0.8/32", "192.0.0.8", False, "RFC 7600"),
    ("192.0.0.9/32", "192.0.0.9", True, "RFC 7723"),
    ("192.0.0.10/32", "192.0.0.10", True, "RFC 8155"),
    ("192.31.196.0/24", "192.31.196.1", True, "RFC 7535"),
    ("192.52.193.0/24", "192.52.193.1", True, "RFC 7450"),
    ("192.175.48.0/24", "192.175.48.1", True, "RFC 7534"),
    ("64:ff9b:1::/48", "64:ff9b:1::1", False, "RFC 8215"),
    ("2001:1::1/128", "2001:1::1", True, "RFC 7723"),
    ("2001:1::2/128", "2001:1::2", True, "RFC 8155"),
    ("2001:1::3/128", "2001:1::3", True, "RFC 9665"),
    ("2001:3::/32", "2001:3::1", True, "RFC 7450"),
    ("2001:4:112::/48", "2001:4:112::1", True, "RFC 7535"),
    ("2001:20::/28", "2001:2f::1", True, "RFC 7343"),
    ("2001:30::/28", "2001:3f::1", True, "RFC 9374"),
    ("2620:4f:8000::/48", "2620:4f:8000::1", True, "RFC 7534"),
    ("3fff::/20", "3fff:fff::1", False, "RFC 9637"),
    ("5f00::/16", "5f00::1", False, "RFC 9602"),
]


@pytest.mark.parametrize(("block", "address", "is_global"), _RFC_6890)
def test_rfc_6890_is_in_the_table(block: str, address: str, is_global: bool | None) -> None:
    entry = special_purpose(ip_address(address))

    assert entry is not None
    assert (entry.block, entry.is_global) == (ip_network(block), is_global)


@pytest.mark.parametrize(("block", "address", "is_global", "source"), _ADDITIONS)
def test_what_was_added_to_the_registries_is_in_the_table(
    block: str, address: str, is_global: bool, source: str
) -> None:
    entry = special_purpose(ip_address(address))

    assert entry is not None
    assert (entry.block, entry.is_global) == (ip_network(block), is_global), source
    assert source in entry.source


def test_the_table_holds_no_row_but_these() -> None:
    expected = {row[0] for row in _RFC_6890} | {row[0] for row in _ADDITIONS}

    assert len(REGISTERED) == len(expected)
    assert {entry.block for entry in REGISTERED} == {ip_network(block) for block in expected}
    assert [str(entry.block) for entry in UNREGISTERED] == ["224.0.0.0/4", "ff00::/8", "fec0::/10"]


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("11.0.0.0", "beyond 10/8"),
        ("100.128.0.0", "beyond 100.64/10"),
        ("172.32.0.1", "beyond 172.16/12"),
        ("192.0.1.0", "beyond 192.0.0/24"),
        ("198.168.1.12", "RFC 3954 section 11: not 192.168"),
        ("198.20.0.0", "beyond 198.18/15"),
        ("223.255.255.255", "before multicast"),
        ("2001:200::1", "beyond 2001::/23"),
        ("2001:db9::", "beyond documentation"),
        ("3fff:1000::", "beyond documentation"),
        ("fe00::1", "before link-local"),
    ],
)
def test_the_neighbours_of_blocks_are_addresses_like_any_other(address: str, why: str) -> None:
    assert special_purpose(ip_address(address)) is None, why


# What `is_global` of the Python standard library says of these varies between patch levels, or is not what an audit
# of isolation means; seen on 3.11.7 and 3.13.0. Here is what they are.
_TRAPS: list[tuple[str, AddressSide, str]] = [
    ("100.64.0.1", "inside", "RFC 6598; neither private nor global there"),
    ("224.0.0.251", "inside", "RFC 5771: multicast, global there"),
    ("239.255.255.250", "inside", "RFC 2365: multicast, global there"),
    ("ff02::fb", "inside", "RFC 4291 section 2.7: multicast, global there"),
    ("192.0.0.8", "inside", "RFC 7600: global on 3.11.7"),
    ("192.0.0.9", "outside", "RFC 7723"),
    ("192.88.99.1", "outside", "RFC 7526"),
    ("64:ff9b:1::1", "inside", "RFC 8215: global on 3.11.7"),
    ("64:ff9b::808:808", "outside", "RFC 6052: 8.8.8.8"),
    ("64:ff9b::a00:1", "inside", "RFC 6052: 10.0.0.1, global there"),
    ("::ffff:8.8.8.8", "outside", "RFC 4291 section 2.5.5.2; not global on 3.9"),
    ("::ffff:10.0.0.1", "inside", "RFC 4291 section 2.5.5.2"),
    ("2002:a00:1::1", "inside", "RFC 3056: 10.0.0.1, global on 3.11.7"),
    ("2001:1::1", "outside", "RFC 7723: not global on 3.11.7"),
    ("2001:3::1", "outside", "RFC 7450: not global on 3.11.7"),
    ("2001:20::1", "outside", "RFC 7343: not global on 3.11.7"),
    ("2001:30::1", "outside", "RFC 9374: not global on 3.11.7"),
    ("2001:4:112::1", "outside", "RFC 7535: not global on 3.11.7"),
    ("3fff::1", "inside", "RFC 9637: global there"),
    ("5f00::1", "inside", "RFC 9602: global there"),
    ("fec0::1", "inside", "RFC 3879: global there"),
    ("198.18.0.1", "inside", "RFC 2544"),
    ("203.0.113.9", "inside", "RFC 5737"),
    ("2001:db8::1", "inside", "RFC 3849"),
]


@pytest.mark.parametrize(("address", "side", "source"), _TRAPS)
def test_addresses_that_the_standard_library_takes_for_something_else(
    address: str, side: AddressSide, source: str
) -> None:
    anywhere = Space(Networks(devices=(), inside=()))

    assert anywhere.side(ip_address(address)) == side, source
