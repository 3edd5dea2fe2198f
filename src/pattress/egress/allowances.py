"""What devices may have to do with outside: found quickly, for every encounter.

What belongs here: looking an encounter up among what a site and its MUD files allow. What does not: judging it.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from ipaddress import IPv6Address

from pattress.egress.mud import mud_profile
from pattress.egress.space import unwrapped
from pattress.model.addresses import IPAddress
from pattress.model.errors import Fault
from pattress.model.plan import Plan
from pattress.model.watching import Allowance, MudFile


class Allowances:
    """Everything that is allowed. `faults` are those of MUD files, each of which then allows nothing at all.

    `remarks` say what MUD files hold that is not judged, each with the name of its file.
    """

    def __init__(
        self, allowances: Sequence[Allowance] = (), mud_files: Sequence[MudFile] = (), plan: Plan | None = None
    ) -> None:
        profiles = [(file, mud_profile(file)) for file in mud_files]
        self.faults: tuple[Fault, ...] = tuple(fault for _, profile in profiles for fault in profile.faults)
        self.remarks: tuple[str, ...] = tuple(
            f"{file.file}: {remark}" for file, profile in profiles for remark in profile.remarks
        )
        self._kinds = {point.name: point.kind for point in (plan or Plan()).points}
        self._shelves: dict[_Subject, _Shelf] = {}
        everything = [*allowances, *(allowance for _, profile in profiles for allowance in profile.allowances)]
        for order, allowance in enumerate(everything):
            subject = (allowance.point, allowance.kind)
            self._shelves.setdefault(subject, _Shelf()).put(order, allowance)

    def allowed(
        self,
        *,
        point: str | None,
        kind: str | None,
        remote: IPAddress,
        names: Collection[str],
        protocol: int | None,
        port: int | None,
        is_inbound: bool,
    ) -> Allowance | None:
        """Return the first allowance that covers packets between a device and `remote`, or None.

        `names` are those that `remote` was looked up by, `port` is that of the side that was called, and `is_inbound`
        whether the outside began. An allowance that asks for a protocol or a port does not cover what is not known.
        """
        addresses = _forms(remote)
        found = (
            candidate
            for shelf in self._shelves_for(point, kind)
            for candidate in shelf.candidates(addresses, names)
            if _covers(candidate[1], protocol, port, is_inbound) and _leads_to(candidate[1], addresses)
        )
        return min(found, key=_order, default=_NOTHING)[1]

    def allows_name(self, *, point: str | None, kind: str | None, name: str) -> Allowance | None:
        """Return the first allowance that names what was looked up, or None. For whatever protocol, and either way."""
        found = (candidate for shelf in self._shelves_for(point, kind) for candidate in shelf.of_name(name))
        return min(found, key=_order, default=_NOTHING)[1]

    def _shelves_for(self, point: str | None, kind: str | None) -> Iterator["_Shelf"]:
        if kind is None and point is not None:
            kind = self._kinds.get(point)
        for subject in {(None, None), (point, None), (None, kind), (point, kind)}:
            shelf = self._shelves.get(subject)
            if shelf is not None:
                yield shelf


_Subject = tuple[str | None, str | None]
_Placed = tuple[int, Allowance]
_NOTHING: tuple[int, None] = (-1, None)


@dataclass(slots=True)
class _Shelf:
    """The allowances for one point, one kind or every device, by where they lead to, with their places in the order."""

    by_prefix: dict[tuple[int, int], dict[int, list[_Placed]]] = field(default_factory=dict)
    by_name: dict[str, list[_Placed]] = field(default_factory=dict)
    by_domain: dict[str, list[_Placed]] = field(default_factory=dict)
    anywhere: list[_Placed] = field(default_factory=list)

    def put(self, order: int, allowance: Allowance) -> None:
        """Add an allowance; one with a name is found by it, and has its network looked at afterwards."""
        placed = (order, allowance)
        if allowance.name is not None:
            name = allowance.name.lower().removesuffix(".")
            if name.startswith("*."):
                self.by_domain.setdefault(name[2:], []).append(placed)
            else:
                self.by_name.setdefault(name, []).append(placed)
        elif allowance.network is not None:
            network = allowance.network
            shift = network.max_prefixlen - network.prefixlen
            prefixes = self.by_prefix.setdefault((network.version, shift), {})
            prefixes.setdefault(int(network.network_address) >> shift, []).append(placed)
        else:
            self.anywhere.append(placed)

    def candidates(self, addresses: Iterable[IPAddress], names: Iterable[str]) -> Iterator[_Placed]:
        """Yield what could cover an address that was looked up by these names."""
        yield from self.anywhere
        for name in names:
            yield from self.of_name(name)
        for address in addresses:
            number = int(address)
            for (version, shift), prefixes in self.by_prefix.items():
                if version == address.version:
                    yield from prefixes.get(number >> shift, ())

    def of_name(self, name: str) -> Iterator[_Placed]:
        """Yield what names a name itself, or a domain above it."""
        yield from self.by_name.get(name, ())
        if self.by_domain:
            _, _, domain = name.partition(".")
            while domain:
                yield from self.by_domain.get(domain, ())
                _, _, domain = domain.partition(".")


def _order(placed: tuple[int, Allowance | None]) -> int:
    return placed[0]


def _covers(allowance: Allowance, protocol: int | None, port: int | None, is_inbound: bool) -> bool:
    if is_inbound and not allowance.is_inbound:
        return False
    if allowance.protocol is not None and protocol != allowance.protocol:
        return False
    return not allowance.ports or (port is not None and any(low <= port <= high for low, high in allowance.ports))


def _leads_to(allowance: Allowance, addresses: Iterable[IPAddress]) -> bool:
    """Whether the network of an allowance by name holds the address, too: a MUD file speaks of IPv4 or IPv6 alone."""
    network = allowance.network
    if allowance.name is None or network is None:
        return True
    return any(address.version == network.version and address in network for address in addresses)


def _forms(remote: IPAddress) -> tuple[IPAddress, ...]:
    """Return the addresses that are one host: a translated one is the IPv4 address; 6to4 and Teredo lead to others."""
    bare = IPv6Address(int(remote)) if isinstance(remote, IPv6Address) and remote.scope_id is not None else remote
    inner = unwrapped(bare)
    if isinstance(bare, IPv6Address) and inner is not bare and bare.sixtofour is None and bare.teredo is None:
        return (bare, inner)
    return (bare,)
