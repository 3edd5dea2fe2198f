"""Whose an address is: devices by the addresses and hardware addresses that they were last seen with.

What belongs here: that one index. What does not: gathering what it is made of, and judging traffic.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from pattress.model.addresses import IPAddress, parse_address
from pattress.model.device import LIVE_SOURCES, Device, Sighting
from pattress.model.plan import OtherDevice, Plan, Point
from pattress.placing import Placing


@dataclass(frozen=True, slots=True, kw_only=True)
class Owner:
    """A device as encounters name it: its id, what to call it, and where the plan puts it."""

    device: str
    title: str
    point: str | None = None
    room: str | None = None
    kind: str | None = None


class Whereabouts:
    """Devices by address. Made anew whenever devices were seen; `own` are the addresses of this host."""

    def __init__(self, plan: Plan, devices: Iterable[Device], own: Iterable[IPAddress] = ()) -> None:
        self.own = frozenset(own)
        by_address: dict[IPAddress, tuple[_Weight, Owner]] = {}
        self._by_mac: dict[str, Owner] = {}
        self._by_device: dict[str, Owner] = {}
        placing = Placing(plan)
        for device in devices:
            point, other = placing.point_of(device), placing.other_of(device)
            owner = Owner(
                device=device.id,
                title=point.name if point else other.name if other else device.title,
                point=point.name if point else None,
                room=point.room if point else None,
                kind=device.kind or (point.kind if point else None),
            )
            self._by_device[device.id] = owner
            if device.mac is not None:
                self._by_mac[device.mac] = owner
            weights = _weights(device)
            for text, _ in device.addresses:
                address, weight = parse_address(text), weights.get(text, _UNSAID)
                if address is not None and (address not in by_address or weight > by_address[address][0]):
                    by_address[address] = (weight, owner)
        self._by_address = {address: owner for address, (_, owner) in by_address.items()}
        places: tuple[Point | OtherDevice, ...] = (*plan.points, *plan.others)
        for place in places:
            if place.mac is not None and place.mac not in self._by_mac:
                # Nobody has seen it yet: the first packet of a new module is told with the name of its point.
                owner = _planned(place, f"mac:{place.mac}")
                self._by_mac[place.mac] = self._by_device[owner.device] = owner

    def owner(self, address: IPAddress, mac: str | None = None) -> Owner:
        """Return the device behind an address of the device networks; one that nobody knows goes by its address.

        A hardware address counts where it is that of a known device: in front of a router it may be the router's.
        """
        known = self._by_mac.get(mac) if mac is not None else None
        known = known or self._by_address.get(address)
        return known or Owner(device=f"address:{address}", title=f"an unknown device at {address}")

    def called(self, device: str) -> Owner:
        """Return what to call a device by its id."""
        known = self._by_device.get(device)
        if known is not None:
            return known
        if device.startswith("address:"):
            return Owner(device=device, title=f"an unknown device at {device.removeprefix('address:')}")
        return Owner(device=device, title=device)


_Weight = tuple[int, float]
_UNSAID: _Weight = (-1, 0.0)


def _weights(device: Device) -> dict[str, _Weight]:
    """Return how much each address of a device counts, for one that another device had before: by certainty and age."""
    weights: dict[str, _Weight] = {}
    for sighting in device.sightings:
        if sighting.address is not None and not sighting.is_gone:
            weight = (_certainty(sighting), sighting.seen_at.timestamp())
            weights[sighting.address] = max(weight, weights.get(sighting.address, _UNSAID))
    return weights


def _certainty(sighting: Sighting) -> int:
    """What is so now counts before what may be of any age, where a lease says at least to whom an address was given.

    Then come what was, and what was planned.
    """
    if sighting.source not in LIVE_SOURCES:
        return 0 if sighting.source == "point" else 1
    return 4 if sighting.is_dated else 3 if sighting.source == "lease" else 2


def _planned(place: Point | OtherDevice, device: str) -> Owner:
    if isinstance(place, Point):
        return Owner(device=device, title=place.name, point=place.name, room=place.room, kind=place.kind)
    return Owner(device=device, title=place.name)
