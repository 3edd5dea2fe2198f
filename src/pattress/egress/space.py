"""Which side of the site an address is on: a device's, inside, or outside.

What belongs here: the whole address space divided, and IPv4 addresses inside IPv6 ones. What does not: what is
allowed, and dividing many addresses at once (space_bulk.py).
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from ipaddress import IPv4Address, IPv4Network, IPv6Address, ip_network
from typing import Literal, TypeVar, overload

from pattress.egress.special_purpose import MOST_SPECIFIC_FIRST
from pattress.model.addresses import IPAddress, IPNetwork
from pattress.model.site import Networks

AddressSide = Literal["device", "inside", "outside"]
RangeSide = AddressSide | Literal["as its end", "as its end inverted"]
"""The side of a range; or that of the IPv4 address in the last 32 bits, as they are or each bit turned over."""


class Space:
    """The address space as a site divides it.

    What is no place of its own stays inside whatever the site says: multicast, broadcast (of the device networks, too)
    and the unspecified address. Then `devices` comes before `inside`, `inside` before `outside`, and that before the
    registries: a special-purpose block that is not globally reachable is inside, all else is outside. Of an IPv6
    address that holds an IPv4 one, that decides, unless the site names the IPv6 address itself.
    """

    def __init__(self, networks: Networks) -> None:
        self._ranges4 = tuple(_divided(_rules4(networks), "outside", bits=32))
        self._ranges6 = tuple(_divided(_rules6(networks, self._ranges4), "outside", bits=128))
        self._starts4, self._starts6 = [start for start, _ in self._ranges4], [start for start, _ in self._ranges6]

    def side(self, address: IPAddress) -> AddressSide:
        """Return the side that an address is on. It need not be unwrapped before; a zone is left aside."""
        number = int(address)
        return self._side4(number) if address.version == 4 else self._side6(number)

    @overload
    def ranges(self, version: Literal[4]) -> tuple[tuple[int, AddressSide], ...]: ...
    @overload
    def ranges(self, version: Literal[6]) -> tuple[tuple[int, RangeSide], ...]: ...
    def ranges(self, version: Literal[4, 6]) -> tuple[tuple[int, RangeSide], ...]:
        """Return the whole space: each range by its first address, beginning at 0, and its side."""
        return self._ranges4 if version == 4 else self._ranges6

    def _side4(self, number: int) -> AddressSide:
        return self._ranges4[bisect_right(self._starts4, number) - 1][1]

    def _side6(self, number: int) -> AddressSide:
        side = self._ranges6[bisect_right(self._starts6, number) - 1][1]
        if side == "as its end":
            return self._side4(number & _WORD)
        if side == "as its end inverted":
            return self._side4(~number & _WORD)
        return side


def unwrapped(address: IPAddress) -> IPAddress:
    """Return the IPv4 address that an IPv6 address leads to, or the address itself, without a zone.

    IPv4-mapped (RFC 4291 section 2.5.5.2), translated (RFC 6052, RFC 8215), 6to4 (RFC 3056 section 2: the router that
    the packet is sent to) and Teredo (RFC 4380 section 4: the client, whose address is written with each bit inverted).
    """
    if isinstance(address, IPv4Address):
        return address
    number = int(address)
    if number >> 112 == _6TO4:
        return IPv4Address(number >> 80 & _WORD)
    if number >> 96 == _TEREDO:
        return IPv4Address(~number & _WORD)
    if number >> 32 in (_MAPPED, _TRANSLATED) or number >> 80 == _TRANSLATED_LOCALLY:
        return IPv4Address(number & _WORD)
    return IPv6Address(number) if address.scope_id is not None else address


_WORD = 0xFFFF_FFFF
_MAPPED = 0xFFFF  # ::ffff:0:0/96 without its last 32 bits
_TRANSLATED = 0x0064_FF9B << 64  # 64:ff9b::/96, likewise
# RFC 8215 leaves open how the /48 is divided. Common practice is a /96 of it; the other forms of RFC 6052 section 2.2
# mostly end in zeros, and 0.0.0.0 is inside, as the registry has it, unless the site names its own prefix.
_TRANSLATED_LOCALLY = 0x0064_FF9B_0001
_6TO4 = 0x2002
_TEREDO = 0x2001_0000


_Side = TypeVar("_Side", bound=str)
# First and last address of a range, and its side. Of a list of rules the first that holds an address decides.
_Rule = tuple[int, int, _Side]

_NOWHERE: tuple[IPNetwork, ...] = tuple(
    map(ip_network, ("224.0.0.0/4", "255.255.255.255/32", "0.0.0.0/32", "ff00::/8", "::/128"))
)


def _rules4(networks: Networks) -> list[_Rule[AddressSide]]:
    broadcasts = tuple(
        IPv4Network(network.broadcast_address)
        for network in networks.devices
        if isinstance(network, IPv4Network) and network.prefixlen <= _LONGEST_WITH_BROADCAST
    )
    return [
        *_as_rules(4, _NOWHERE, "inside"),
        *_as_rules(4, broadcasts, "inside"),
        *_site_rules(4, networks),
        *_registry_rules(4),
    ]


def _rules6(networks: Networks, ranges4: tuple[tuple[int, AddressSide], ...]) -> list[_Rule[RangeSide]]:
    return [
        *_as_rules(6, _NOWHERE, "inside"),
        *_site_rules(6, networks),
        *_embedding_rules(ranges4),
        *_registry_rules(6),
    ]


def _site_rules(version: int, networks: Networks) -> Iterator[_Rule[AddressSide]]:
    yield from _as_rules(version, networks.devices, "device")
    yield from _as_rules(version, networks.inside, "inside")
    yield from _as_rules(version, networks.outside, "outside")


def _registry_rules(version: int) -> Iterator[_Rule[AddressSide]]:
    for entry in MOST_SPECIFIC_FIRST:
        yield from _as_rules(version, [entry.block], "inside" if entry.is_global is False else "outside")


def _embedding_rules(ranges4: tuple[tuple[int, AddressSide], ...]) -> Iterator[_Rule[RangeSide]]:
    """Yield what the IPv4 space makes of the parts of the IPv6 space that hold it."""
    ends = [start - 1 for start, _ in ranges4[1:]] + [_WORD]
    for (first, side), last in zip(ranges4, ends, strict=True):
        yield (_MAPPED << 32) + first, (_MAPPED << 32) + last, side
        yield (_TRANSLATED << 32) + first, (_TRANSLATED << 32) + last, side
        yield (_6TO4 << 112) + (first << 80), (_6TO4 << 112) + (last + 1 << 80) - 1, side
        # The server comes first in a Teredo address (RFC 4380 section 4), and a client behind a translator is met by
        # way of it: where it is outside, no address of a client makes that inside.
        server_side: RangeSide = "outside" if side == "outside" else "as its end inverted"
        yield (_TEREDO << 96) + (first << 64), (_TEREDO << 96) + (last + 1 << 64) - 1, server_side
    yield _TRANSLATED_LOCALLY << 80, (_TRANSLATED_LOCALLY + 1 << 80) - 1, "as its end"


def _as_rules(version: int, blocks: Iterable[IPNetwork], side: AddressSide) -> Iterator[_Rule[AddressSide]]:
    for block in blocks:
        if block.version == version:
            yield int(block.network_address), int(block.broadcast_address), side


def _divided(rules: list[_Rule[_Side]], otherwise: _Side, *, bits: int) -> Iterator[tuple[int, _Side]]:
    """Yield the ranges that the rules come to; neighbours on one side are one range.

    Every start is looked up in the list: some 60 rows and the networks of a site, at twice their square a few
    thousand steps, once in a process.
    """
    starts = {0} | {first for first, _, _ in rules} | {last + 1 for _, last, _ in rules}
    side_before = None
    for start in sorted(starts - {1 << bits}):
        side = next((side for first, last, side in rules if first <= start <= last), otherwise)
        if side != side_before:
            yield start, side
        side_before = side


_LONGEST_WITH_BROADCAST = 30  # RFC 3021: two addresses are two hosts
