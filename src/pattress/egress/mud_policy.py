"""What the access lists of one direction of a MUD file come to (RFC 8520 sections 3, 5 and 8).

What belongs here: entries into allowances and remarks. What does not: the document around them.

A list never allows more than it says of whom a device talks to: an entry that matches something we do not understand
allows nothing, nor does one after an entry that may drop the same. Packets that answer are part of what they answer
and need no allowance.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from ipaddress import ip_network
from typing import Any

from pattress.egress.mud_faults import shown
from pattress.egress.mud_shapes import EntryShape, ListShape, MatchesShape
from pattress.model.addresses import IPNetwork, parse_address
from pattress.model.errors import Fault
from pattress.model.watching import Allowance, MudFile


class MudPolicy:
    """The entries of one direction in their order: outward is what the device sends."""

    def __init__(self, file: MudFile, *, is_outward: bool) -> None:
        self.faults: list[Fault] = []
        self.remarks: list[str] = []
        self._file = file
        self._is_outward = is_outward
        self._dropped: list[_Way] = []
        self._permitted: list[tuple[str, _Way]] = []
        self._answering: list[tuple[str, _Way]] = []

    def read(self, access_list: ListShape, pointer: str) -> None:
        """Take the entries of an access list after those that were read before; `pointer` is where they stand."""
        version = _VERSIONS.get(access_list.type)
        for index, entry in enumerate(access_list.aces.ace):
            self._read_entry(entry, version, f"{pointer}/{index}/matches")

    def allowances(self) -> Iterator[Allowance]:
        """Yield what may be begun in this direction."""
        for name, way in self._permitted:
            yield Allowance(
                reason=f"{self._file.file}, entry {name}",
                name=way.name,
                network=way.network,
                protocol=way.protocol,
                ports=way.ports,
                point=self._file.point,
                kind=self._file.kind,
                is_inbound=not self._is_outward,
            )

    def unasked_answers(self, opposite: "MudPolicy") -> Iterator[str]:
        """Yield a remark for each entry for answers to what the opposite direction does not allow to begin."""
        begun = {way for _, way in opposite._permitted}
        for name, way in self._answering:
            if way not in begun:
                yield f"entry {name}: names the port of the side that begins, and allows no more than answers"

    def _read_entry(self, entry: EntryShape, version: int | None, pointer: str) -> None:
        matches = entry.matches
        if matches.layer3 is not None:
            version = 4 if matches.ipv4 is not None else 6
        self._look_for_a_name_of_the_device(matches, f"{pointer}/ipv{version}")
        way = self._way(matches, version)
        if matches.mud is not None and not _may_be_outside(matches.mud):
            return
        if entry.actions.forwarding != "accept":
            self._dropped.append(way)
        elif unknown := _not_understood(entry):
            self._remark(entry.name, f"matches {unknown}, which is not judged: it allows nothing outside")
        elif any(way.may_overlap(dropped) for dropped in self._dropped):
            self._remark(entry.name, "comes after an entry that may drop the same: it allows nothing")
        else:
            self._permit(entry.name, matches, way)

    def _look_for_a_name_of_the_device(self, matches: MatchesShape, pointer: str) -> None:
        layer3 = matches.layer3
        name = None if layer3 is None else (layer3.source_name if self._is_outward else layer3.destination_name)
        if name is not None:
            wrong, right = ("src", "dst") if self._is_outward else ("dst", "src")
            expected = f"{right}-dnsname, as a name is that of the other side (RFC 8520 section 8.2)"
            place = f"{pointer}/ietf-acldns:{wrong}-dnsname"
            self.faults.append(
                Fault(file=self._file.file, line=None, place=place, found=shown(name), expected=expected)
            )

    def _way(self, matches: MatchesShape, version: int | None) -> "_Way":
        layer3, transport = matches.layer3, matches.transport
        name: str | None = None
        network: IPNetwork | None = None
        protocol = matches.transport_protocol(version)
        if layer3 is not None:
            name = layer3.destination_name if self._is_outward else layer3.source_name
            network = layer3.destination_network if self._is_outward else layer3.source_network
            protocol = layer3.protocol if protocol is None else protocol
        address = None if name is None else parse_address(name)
        if address is not None:
            name, network = None, ip_network(address)
        if network is None and version is not None:
            network = _EVERYWHERE[version]
        ports = transport.destination.ranges if transport is not None and transport.destination is not None else ()
        return _Way(name=name, network=network, protocol=protocol, ports=ports)

    def _permit(self, name: str, matches: MatchesShape, way: "_Way") -> None:
        initiated = None if matches.tcp is None else matches.tcp.initiated
        if initiated is not None and initiated != ("from-device" if self._is_outward else "to-device"):
            return  # packets of conversations that the other direction begins
        source = None if matches.transport is None else matches.transport.source
        if source is not None and not way.ports and initiated is None:
            self._answering.append((name, replace(way, ports=source.ranges)))
            return
        for narrower in _left_aside(matches, is_outward=self._is_outward):
            self._remark(name, f"asks for {narrower} besides, which is left aside")
        if way.name is None and (way.network is None or way.network.prefixlen == 0):
            self._remark(name, "allows everywhere")
        self._permitted.append((name, way))

    def _remark(self, name: str, words: str) -> None:
        self.remarks.append(f"entry {name}: {words}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """Where an entry leads to: the other side, and the ports of the side that is called. None and () are any."""

    name: str | None
    network: IPNetwork | None
    protocol: int | None
    ports: tuple[tuple[int, int], ...]

    def may_overlap(self, other: "_Way") -> bool:
        """Whether a packet may be of both. Two names are taken to be two hosts."""
        if self.protocol is not None and other.protocol is not None and self.protocol != other.protocol:
            return False
        if self.ports and other.ports and not _share(self.ports, other.ports):
            return False
        if self.name is not None and other.name is not None and self.name != other.name:
            return False
        if self.network is None or other.network is None:
            return True
        if self.network.version != other.network.version:
            return False
        return _lie_in_one_another(self.network, other.network)


_VERSIONS = {"ipv4-acl-type": 4, "ipv6-acl-type": 6}
_EVERYWHERE: dict[int, IPNetwork] = {4: ip_network("0.0.0.0/0"), 6: ip_network("::/0")}
_LOCAL_SERVICES = ("urn:ietf:params:mud:dns", "urn:ietf:params:mud:ntp")  # those of the site
# What narrows an entry without changing whom the device talks to (RFC 8519 section 4.2), by where it stands.
_NARROWER_LAYER3 = frozenset(("dscp", "ecn", "length", "ttl", "ihl", "flags", "offset", "identification", "flow-label"))
_NARROWER_TRANSPORT = frozenset(
    {"sequence-number", "acknowledgement-number", "data-offset", "reserved", "flags", "window-size"}
    | {"urgent-pointer", "options", "length", "type", "code", "rest-of-header"}
)


def _may_be_outside(classes: Mapping[str, Any]) -> bool:
    """Whether an entry by what a host is may concern the outside: not one by local networks or local services."""
    known = {"local-networks"} | ({"controller"} if classes.get("controller") in _LOCAL_SERVICES else set())
    return not classes or bool(classes.keys() - known)


def _not_understood(entry: EntryShape) -> str:
    """Return what an entry matches beside what can be judged or left aside, in words, or nothing."""
    matches = entry.matches
    unknown = set(matches.others | entry.others)
    if matches.mud is not None:
        unknown.update(matches.mud or ("ietf-mud:mud",))
    if matches.layer3 is not None:
        unknown |= matches.layer3.others - _NARROWER_LAYER3
    for transport in (matches.transport, matches.icmp):
        if transport is not None:
            unknown |= transport.others - _NARROWER_TRANSPORT
    if matches.transport is not None:
        for ports in (matches.transport.source, matches.transport.destination):
            unknown |= frozenset() if ports is None else ports.others
    return ", ".join(shown(name) for name in sorted(unknown)[:3])


def _left_aside(matches: MatchesShape, *, is_outward: bool) -> Iterator[str]:
    """Yield what narrows an entry and is not judged: what remains is whom the device talks to, by what and where."""
    if matches.transport is not None and matches.transport.source is not None:
        yield "the port of the side that begins"
    if matches.layer3 is not None:
        if (matches.layer3.source_network if is_outward else matches.layer3.destination_network) is not None:
            yield "addresses of the device"
        yield from sorted(matches.layer3.others)
    for transport in (matches.transport, matches.icmp):
        if transport is not None:
            yield from sorted(transport.others)


def _share(some: tuple[tuple[int, int], ...], others: tuple[tuple[int, int], ...]) -> bool:
    return any(low <= last and first <= high for low, high in some for first, last in others)


def _lie_in_one_another(one: IPNetwork, other: IPNetwork) -> bool:
    first, last = int(one.network_address), int(one.broadcast_address)
    return first <= int(other.broadcast_address) and int(other.network_address) <= last
