"""On which interfaces of this host to listen.

What belongs here: the choice, and what is known of a chosen interface. What does not: sockets.
"""

import socket
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv6Address

from pattress.model.addresses import IPAddress, IPNetwork, is_inside, parse_address
from pattress.model.site import Networks
from pattress.wire.reach import interface_addresses


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """One interface to listen on: its IPv4 address, and whether it is listened on with IPv6 too."""

    name: str
    index: int
    address: IPAddress | None
    has_ipv6: bool

    @property
    def families(self) -> str:
        """The address families, in words."""
        return " and ".join([*(["IPv4"] if self.address else []), *(["IPv6"] if self.has_ipv6 else [])])


class NoInterfaceError(Exception):
    """There is no usable interface of that name or address. The message says why and what to do."""


def chosen_interfaces(networks: Networks) -> tuple[str, ...]:
    """Return the interfaces that the site names; with none named, each that has an address in its device networks."""
    return networks.interfaces or interfaces_inside(networks.devices, interface_addresses())


def interfaces_inside(networks: tuple[IPNetwork, ...], addresses: Iterable[tuple[str, IPAddress]]) -> tuple[str, ...]:
    """Return the names of the interfaces with an address in one of the networks, each once, in the given order."""
    return tuple(dict.fromkeys(name for name, address in addresses if is_inside(address, networks)))


def find_interface(wanted: str) -> Interface:
    """Return the interface that a name or an address means, as it is now.

    A name means every address family that the interface has; an address only its own.

    Raises:
        NoInterfaceError: If there is no such interface, or it has no address.
    """
    addresses = list(interface_addresses())
    own = parse_address(wanted)
    if own is not None:
        names = [name for name, address in addresses if _is_same(own, address, name)]
        if not names:
            raise NoInterfaceError(
                f"no interface of this host has the address {wanted}. Correct it in site.toml under"
                " [networks] interfaces, or give this host that address"
            )
        return _interface(names[0], [own])
    found = [address for name, address in addresses if name == wanted]
    if not found:
        raise NoInterfaceError(_why_not(wanted))
    return _interface(wanted, found)


def _interface(name: str, addresses: list[IPAddress]) -> Interface:
    try:
        index = socket.if_nametoindex(name)
    except OSError:  # it went between the two questions
        raise NoInterfaceError(_why_not(name)) from None
    ipv4 = next((address for address in addresses if address.version == 4), None)
    has_ipv6 = any(address.version == 6 for address in addresses)
    return Interface(name=name, index=index, address=ipv4, has_ipv6=has_ipv6)


def _why_not(name: str) -> str:
    if any(name == known for _, known in socket.if_nameindex()):
        return f"the interface {name} has no IP address. Bring it up and give it an address in the device network"
    return (
        f"this host has no interface {name}. Correct the name in site.toml under [networks] interfaces,"
        " or create the interface"
    )


def _is_same(wanted: IPAddress, address: IPAddress, name: str) -> bool:
    """Whether an interface has an address; one with a zone is that of one interface only."""
    zone = wanted.scope_id if isinstance(wanted, IPv6Address) else None
    return (wanted.version, int(wanted)) == (address.version, int(address)) and zone in (None, name)
