"""Hardware and network addresses in their one normal form.

What belongs here: pure functions on addresses as text. What does not: asking the system for its own addresses.
"""

import ipaddress
import re

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address
IPNetwork = ipaddress.IPv4Network | ipaddress.IPv6Network


def normal_address(text: str) -> str | None:
    """Return an IP address in its canonical text form, or None if `text` is not one.

    An IPv4-mapped IPv6 address becomes the IPv4 address; a zone (`%eth0`) is kept. Source: RFC 5952 section 4.
    """
    parsed = parse_address(text)
    return None if parsed is None else str(parsed)


def parse_address(text: str) -> IPAddress | None:
    """Return the IP address that `text` writes, with IPv4-mapped addresses unwrapped, or None."""
    try:
        return plain_address(ipaddress.ip_address(text))
    except ValueError:
        return None


def plain_address(address: IPAddress) -> IPAddress:
    """Return an IPv4-mapped IPv6 address as the IPv4 address that it is, any other as it stands."""
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return address if mapped is None else mapped


def is_inside(address: IPAddress, networks: tuple[IPNetwork, ...]) -> bool:
    """Whether an address lies in one of the networks. The zone of a link-local address is left aside."""
    if isinstance(address, ipaddress.IPv6Address) and address.scope_id is not None:
        address = ipaddress.IPv6Address(int(address))
    return any(address.version == network.version and address in network for network in networks)


def normal_mac(text: str) -> str | None:
    """Return a 48-bit hardware address as six lower-case pairs with colons, or None if `text` is not one.

    Accepted are colons, hyphens, dots after every four digits, and no separator at all (IEEE 802 and common practice).
    """
    if not _MAC.fullmatch(text):
        return None
    digits = re.sub("[^0-9a-f]", "", text.lower())
    return ":".join(digits[start : start + 2] for start in range(0, 12, 2))


def is_locally_administered(mac: str) -> bool:
    """Whether a normal hardware address was chosen by software, so that it may change (IEEE 802, U/L bit)."""
    return bool(int(mac[:2], 16) & 0b10)


_MAC = re.compile(
    r"[0-9a-f]{2}(?::[0-9a-f]{2}){5}|[0-9a-f]{2}(?:-[0-9a-f]{2}){5}|[0-9a-f]{4}(?:\.[0-9a-f]{4}){2}|[0-9a-f]{12}",
    re.IGNORECASE,
)
