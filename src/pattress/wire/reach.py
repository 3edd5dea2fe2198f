"""Which addresses we may connect to: those inside the site's device networks, and never our own.

What belongs here: the addresses of this host, and the decision. What does not: connecting.
"""

import ipaddress
import re
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv6Address

import ifaddr

from pattress.model.addresses import IPAddress, IPNetwork, is_inside, parse_address


@dataclass(frozen=True, slots=True)
class Reach:
    """The addresses that we may connect to."""

    networks: tuple[IPNetwork, ...]
    own: frozenset[IPAddress]

    def refusal(self, address: str) -> str | None:
        """Return why `address` must not be connected to, or None where it may.

        IPv4-mapped addresses are unwrapped first, and the zone of a link-local address must be the name of an
        interface. The addresses of this host are refused, every loopback one among them, but for loopback ones where
        the site itself names a loopback network as its device network (a test bench).
        """
        parsed = parse_address(address)
        if parsed is None:
            return f"{address!r} is not an IP address"
        if parsed.is_multicast or parsed.is_unspecified:
            return f"{parsed} is not the address of one device"
        if not is_inside(parsed, self.networks):
            return f"{parsed} is outside the site's device networks"
        if isinstance(parsed, ipaddress.IPv6Address) and parsed.scope_id is not None:
            if not _INTERFACE.fullmatch(parsed.scope_id):
                return f"{address!r} has a zone that is not the name of an interface"
            parsed = ipaddress.IPv6Address(int(parsed))
        if parsed.is_loopback and any(network.is_loopback for network in self.networks):
            return None
        if parsed.is_loopback or parsed in self.own:
            return f"{parsed} is an address of this host"
        return None

    def is_own(self, address: str | None) -> bool:
        """Whether an address is one of this host's: what it announces of itself is no device of the site."""
        parsed = parse_address(address) if address is not None else None
        return parsed is not None and self._is_own(parsed)

    def _is_own(self, address: IPAddress) -> bool:
        if isinstance(address, IPv6Address) and address.scope_id is not None:
            address = IPv6Address(int(address))
        is_test_bench = address.is_loopback and any(network.is_loopback for network in self.networks)
        return address in self.own and not is_test_bench


def reach_of(networks: tuple[IPNetwork, ...]) -> Reach:
    """Return the reach of this host now: the device networks less the addresses that this host has."""
    return Reach(networks=networks, own=own_addresses())


def own_addresses() -> frozenset[IPAddress]:
    """Return every address that an interface of this host has."""
    return frozenset(address for _, address in interface_addresses())


def interface_addresses() -> Iterable[tuple[str, IPAddress]]:
    """Yield (interface name, address) for every address of this host."""
    for adapter in ifaddr.get_adapters():
        for ip in adapter.ips:
            # ifaddr gives an IPv4 address as text and an IPv6 address as (address, flow, scope).
            parsed = parse_address(ip.ip if isinstance(ip.ip, str) else ip.ip[0])
            if parsed is not None:
                yield str(adapter.nice_name), parsed


# Linux: IFNAMSIZ of 16 less the closing zero. None of these characters ends a host in a URL.
_INTERFACE = re.compile(r"[0-9A-Za-z._-]{1,15}")
