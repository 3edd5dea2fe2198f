"""Sightings into devices: what is one device, and what only claims to be.

A device is its MAC; failing that the serial it reports; failing that its announced name. An address is where it was
last, never who it is. What belongs here: pure merging of evidence. What does not: the plan (`placing`).
"""

import ipaddress
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pattress.model.device import LINK_SOURCES, LIVE_SOURCES, Conflict, Device, Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """The devices that the evidence makes, sorted by id, and the identities that are claimed more than once."""

    devices: tuple[Device, ...]
    conflicts: tuple[Conflict, ...]


def merge(sightings: Iterable[Sighting]) -> Merged:
    """Return the devices that the sightings are evidence of. Same evidence in any order, same result."""
    groups = _grouped(sorted(sightings, key=_order))  # a total order, so that ties cannot depend on arrival
    devices: list[Device] = []
    conflicts: list[Conflict] = []
    for identity, group in sorted(groups.items()):
        claimants = _claimants(group)
        if len(claimants) > 1:
            conflicts.append(
                Conflict(identity=identity, mac=_mac(group), serial=_serial(group), claimants=tuple(claimants))
            )
        else:
            devices.append(_device(identity, group))
    return Merged(devices=tuple(devices), conflicts=tuple(conflicts))


def _order(sighting: Sighting) -> tuple[str, ...]:
    return (
        sighting.seen_at.isoformat(),
        sighting.source,
        sighting.channel,
        sighting.name or "",
        sighting.address or "",
        sighting.mac or "",
        sighting.serial or "",
        sighting.kind or "",
        f"{sighting.port} {sighting.is_gone} {sighting.is_dated} {sorted(sighting.details.items())}",
    )


def _grouped(sightings: Sequence[Sighting]) -> dict[str, list[Sighting]]:
    """Group by MAC, then serial, then name; then what only an address ties to one of the groups."""
    told = [one for one in sightings if one.source not in LINK_SOURCES]
    groups = _told_groups(told)
    at_address = _at_address(groups)
    for sighting in _best_of_link(sightings):
        _join_link(groups, at_address, sighting)
    return groups


def _told_groups(sightings: Sequence[Sighting]) -> dict[str, list[Sighting]]:
    """Group what devices say of themselves, and what is known of them."""
    groups: dict[str, list[Sighting]] = defaultdict(list)
    mac_of_serial = {one.serial: one.mac for one in sightings if one.serial is not None and one.mac is not None}
    nameless: list[Sighting] = []
    for sighting in sightings:
        mac = sighting.mac or mac_of_serial.get(sighting.serial or "")
        if mac is not None:
            groups[f"mac:{mac}"].append(sighting)
        elif sighting.serial is not None:
            groups[f"serial:{sighting.serial}"].append(sighting)
        else:
            nameless.append(sighting)
    owners = _owners(groups)
    strays: list[Sighting] = []
    for sighting in nameless:
        owner = owners[sighting.source, sighting.name or ""] | owners["reading", sighting.name or ""]
        if len(owner) == 1:
            groups[next(iter(owner))].append(sighting)
        elif sighting.name is not None and sighting.kind is not None:
            groups[f"name:{sighting.name}"].append(sighting)
        else:
            strays.append(sighting)
    at_address = _at_address(groups)
    for sighting in strays:
        there = at_address.get(sighting.address or "", set())
        identity = next(iter(there)) if len(there) == 1 else f"name:{sighting.name or sighting.address}"
        groups[identity].append(sighting)
    return dict(groups)


def _best_of_link(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Return what the link says: for each address the hardware address of now, failing that each one of the past."""
    link = [one for one in sightings if one.source in LINK_SOURCES]
    certain = {one.address for one in link if one.is_dated}
    macs_now = {(one.address, one.mac) for one in link if one.is_dated}
    return [one for one in link if one.address not in certain or (one.address, one.mac) in macs_now]


def _join_link(groups: dict[str, list[Sighting]], at_address: dict[str, set[str]], sighting: Sighting) -> None:
    """Put an entry of the link to the device with its MAC; failing that to the one device that is at its address.

    That device, where it did not say its MAC, has it from here.
    """
    identity = f"mac:{sighting.mac}"
    if identity not in groups:
        there = at_address.get(sighting.address or "", set())
        if len(there) == 1:
            owner = next(iter(there))
            if owner.startswith("mac:"):
                identity = owner
            else:
                groups[identity] = groups.pop(owner)
                for identities in at_address.values():
                    if owner in identities:
                        identities.remove(owner)
                        identities.add(identity)
    groups.setdefault(identity, []).append(sighting)


def _at_address(groups: Mapping[str, Sequence[Sighting]]) -> dict[str, set[str]]:
    at_address: dict[str, set[str]] = defaultdict(set)
    for identity, group in groups.items():
        for sighting in group:
            is_told_now = sighting.source in LIVE_SOURCES - LINK_SOURCES and not sighting.is_gone
            if sighting.address is not None and is_told_now:
                at_address[sighting.address].add(identity)
    return at_address


def _owners(groups: dict[str, list[Sighting]]) -> dict[tuple[str, str], set[str]]:
    owners: dict[tuple[str, str], set[str]] = defaultdict(set)
    for identity, group in groups.items():
        for sighting in group:
            if sighting.name is not None:
                owners[sighting.source, sighting.name].add(identity)
    return owners


def _claimants(group: Sequence[Sighting]) -> list[str]:
    """Return one line for each device that claims the identity of this group, from one source that tells them apart.

    Within one source, two names with no address in common are two devices. One name with several addresses is one
    device with several interfaces, and different sources may know different ages of one device.
    """
    for source in ("reading", "mdns", "mqtt"):
        addresses: dict[str, set[str]] = defaultdict(set)
        for sighting in group:
            if sighting.source == source and not sighting.is_gone and (sighting.mac or sighting.serial):
                addresses[sighting.name or ""].add(sighting.address or "")
        names = sorted(addresses)
        apart = [
            name
            for name in names
            if all(_are_apart(addresses[name], addresses[other]) for other in names if other != name)
        ]
        if len(apart) > 1:
            return [f"{name!r} at {', '.join(sorted(addresses[name])) or 'no address'}" for name in apart]
    return [""]


def _are_apart(one: set[str], other: set[str]) -> bool:
    return not (one & other) or one == other == {""}


def _device(identity: str, group: Sequence[Sighting]) -> Device:
    live = [one for one in group if one.source in LIVE_SOURCES]
    kinds = [one.kind for one in (*group, *live) if one.kind is not None]
    names = [one.name for one in live or group if one.name is not None and (one.kind is not None or not kinds)]
    return Device(
        id=identity,
        mac=_mac(group),
        serial=_serial(group),
        name=names[-1] if names else next((one.name for one in group if one.name is not None), None),
        kind=kinds[-1] if kinds else None,
        addresses=_addresses(group),
        sightings=tuple(group),
    )


def _addresses(group: Sequence[Sighting]) -> tuple[tuple[str, int | None], ...]:
    """Newest first; live before kept; the port of a recognised service before any other; IPv4 before IPv6."""
    best: dict[str, tuple[tuple[bool, bool, str, bool], int | None]] = {}
    for sighting in group:
        if sighting.address is None or sighting.is_gone:
            continue
        is_known = sighting.kind is not None
        rank = (
            sighting.source in LIVE_SOURCES,
            is_known,
            sighting.seen_at.isoformat(),
            ipaddress.ip_address(sighting.address).version == 4,
        )
        if sighting.address not in best or rank > best[sighting.address][0]:
            best[sighting.address] = (rank, sighting.port if is_known else None)
    ordered = sorted(best.items(), key=lambda item: (item[1][0], item[0]), reverse=True)
    return tuple((address, port) for address, (_, port) in ordered)


def _mac(group: Sequence[Sighting]) -> str | None:
    told = [one.mac for one in group if one.mac is not None and one.source not in LINK_SOURCES]
    linked = [one.mac for one in group if one.mac is not None and one.source in LINK_SOURCES]
    return next(reversed(told or linked), None)


def _serial(group: Sequence[Sighting]) -> str | None:
    return next((one.serial for one in reversed(group) if one.serial is not None), None)
