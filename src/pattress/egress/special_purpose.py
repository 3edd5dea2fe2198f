"""The IANA registries of special-purpose addresses, as a table of our own.

What belongs here: the blocks, and which of them an address lies in. What does not: what a site makes of it. Python's
`is_global` varies with the patch level and takes multicast, 6to4 of private addresses and newer blocks for global.
"""

from dataclasses import dataclass
from ipaddress import ip_network

from pattress.model.addresses import IPAddress, IPNetwork


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialPurpose:
    """A block of addresses with a purpose. `is_global` is None where the registry says that it does not apply."""

    block: IPNetwork
    name: str
    source: str
    is_global: bool | None


def special_purpose(address: IPAddress) -> SpecialPurpose | None:
    """Return the most specific block that holds an address, or None for an address like any other."""
    return next((entry for entry in MOST_SPECIFIC_FIRST if address in entry.block), None)


def _entry(block: str, name: str, source: str, is_global: bool | None) -> SpecialPurpose:
    return SpecialPurpose(block=ip_network(block), name=name, source=source, is_global=is_global)


REGISTERED: tuple[SpecialPurpose, ...] = (
    # RFC 6890 sections 2.2.2 and 2.2.3 with the columns of RFC 8190: read in those documents.
    _entry("0.0.0.0/8", "this network", "RFC 1122 section 3.2.1.3", False),
    _entry("10.0.0.0/8", "private use", "RFC 1918", False),
    _entry("100.64.0.0/10", "shared address space", "RFC 6598", False),
    _entry("127.0.0.0/8", "loopback", "RFC 1122 section 3.2.1.3", False),
    _entry("169.254.0.0/16", "link-local", "RFC 3927", False),
    _entry("172.16.0.0/12", "private use", "RFC 1918", False),
    _entry("192.0.0.0/24", "IETF protocol assignments", "RFC 6890 section 2.1", False),
    _entry("192.0.0.0/29", "IPv4 service continuity", "RFC 7335", False),
    _entry("192.0.2.0/24", "documentation", "RFC 5737", False),
    _entry("192.88.99.0/24", "6to4 relay anycast, deprecated", "RFC 3068, RFC 7526", True),
    _entry("192.168.0.0/16", "private use", "RFC 1918", False),
    _entry("198.18.0.0/15", "benchmarking", "RFC 2544", False),
    _entry("198.51.100.0/24", "documentation", "RFC 5737", False),
    _entry("203.0.113.0/24", "documentation", "RFC 5737", False),
    _entry("240.0.0.0/4", "reserved", "RFC 1112 section 4", False),
    _entry("255.255.255.255/32", "limited broadcast", "RFC 919 section 7", False),
    _entry("::1/128", "loopback", "RFC 4291", False),
    _entry("::/128", "unspecified", "RFC 4291", False),
    _entry("::ffff:0:0/96", "IPv4-mapped", "RFC 4291", False),
    _entry("64:ff9b::/96", "IPv4/IPv6 translation", "RFC 6052", True),
    _entry("100::/64", "discard only", "RFC 6666", False),
    _entry("2001::/23", "IETF protocol assignments", "RFC 2928", False),
    _entry("2001::/32", "Teredo", "RFC 4380, RFC 8190", None),
    _entry("2001:2::/48", "benchmarking", "RFC 5180", False),
    _entry("2001:10::/28", "ORCHID, deprecated", "RFC 4843", False),
    _entry("2001:db8::/32", "documentation", "RFC 3849", False),
    _entry("2002::/16", "6to4", "RFC 3056", None),
    _entry("fc00::/7", "unique local", "RFC 4193", False),
    _entry("fe80::/10", "link-local", "RFC 4291", False),
    # Added to the registries since RFC 6890; these rows are from memory.
    _entry("192.0.0.8/32", "IPv4 dummy address", "RFC 7600", False),
    _entry("192.0.0.9/32", "port control protocol anycast", "RFC 7723", True),
    _entry("192.0.0.10/32", "traversal using relays anycast", "RFC 8155", True),
    _entry("192.31.196.0/24", "AS112", "RFC 7535", True),
    _entry("192.52.193.0/24", "automatic multicast tunnelling", "RFC 7450", True),
    _entry("192.175.48.0/24", "AS112 direct delegation", "RFC 7534", True),
    _entry("64:ff9b:1::/48", "IPv4/IPv6 translation, local use", "RFC 8215", False),
    _entry("2001:1::1/128", "port control protocol anycast", "RFC 7723", True),
    _entry("2001:1::2/128", "traversal using relays anycast", "RFC 8155", True),
    _entry("2001:1::3/128", "service registration protocol anycast", "RFC 9665", True),
    _entry("2001:3::/32", "automatic multicast tunnelling", "RFC 7450", True),
    _entry("2001:4:112::/48", "AS112", "RFC 7535", True),
    _entry("2001:20::/28", "ORCHIDv2", "RFC 7343", True),
    _entry("2001:30::/28", "drone remote identification", "RFC 9374", True),
    _entry("2620:4f:8000::/48", "AS112 direct delegation", "RFC 7534", True),
    _entry("3fff::/20", "documentation", "RFC 9637", False),
    _entry("5f00::/16", "segment routing identifiers", "RFC 9602", False),
)
UNREGISTERED: tuple[SpecialPurpose, ...] = (
    # Not in these registries, and all the same no place on the Internet that a device can be said to reach.
    _entry("224.0.0.0/4", "multicast", "RFC 1112 section 4", False),
    _entry("ff00::/8", "multicast", "RFC 4291 section 2.7", False),
    _entry("fec0::/10", "site-local, deprecated", "RFC 3879", False),
)
MOST_SPECIFIC_FIRST: tuple[SpecialPurpose, ...] = tuple(
    sorted(REGISTERED + UNREGISTERED, key=lambda entry: -entry.block.prefixlen)
)
