"""A site of emulated devices: every one of them planned, judged by the shipped policy, listened for on nothing."""

import ipaddress
from datetime import datetime
from pathlib import Path

from benchmarks.documents import KIND, bodies, mac_of, profile
from benchmarks.emulated import EmulatedDevices
from pattress.model.device import Device, Sighting
from pattress.model.plan import Plan, Point
from pattress.model.reading import Reported
from pattress.model.site import Limits, Networks, Site
from pattress.model.vocabulary import Value
from pattress.reading.extract import Extractor
from pattress.site.load import load_policy
from pattress.wire.decode import decode_json

HOUSE_NETWORK = ipaddress.ip_network("192.0.2.0/24")  # where the devices say that they, and their broker, are
HOUSE_NETWORKS = Networks(devices=(HOUSE_NETWORK,), inside=(HOUSE_NETWORK,))
PLANNED: dict[str, Value] = {
    "input.1.contact": "maintained",
    "input.2.contact": "maintained",
    "input.1.action": "reports",
    "input.2.action": "reports",
    "output.1.at_power_up": "off",
    "output.2.at_power_up": "off",
}
"""What every point plans; it is what the devices report."""


def site_of(devices: EmulatedDevices, folder: Path, *, listen_s: float, answer_s: float) -> Site:
    """Return a site in which each device stands at a point with its address."""
    points = tuple(
        Point(
            name=f"point-{number}",
            room="Hall",
            kind=devices.profile.id,
            mac=mac_of(number),
            address=address,
            settings=PLANNED,
        )
        for number, address in enumerate(devices.addresses)
    )
    loopback = ipaddress.ip_network(f"{devices.network}.0.0/16")
    return Site(
        name="Bench",
        folder=folder,
        networks=Networks(devices=(loopback,), inside=(loopback, HOUSE_NETWORK)),
        plan=Plan(points=points),
        policy=load_policy("isolated-house", folder),
        profiles=(devices.profile,),
        limits=Limits(listen_s=listen_s, answer_s=answer_s),
        uses_mdns=False,
    )


def seen_device(number: int, at: datetime, address: str | None = None) -> Device:
    """Return a device as one mDNS answer shows it, at the address that it says it has or at another one."""
    name, address = f"pair-{number}", address or f"192.0.2.{1 + number % 254}"
    sighting = Sighting(source="mdns", seen_at=at, name=name, address=address, port=80, mac=mac_of(number), kind=KIND)
    return Device(
        id=f"mac:{mac_of(number)}", mac=mac_of(number), serial=None, name=name, kind=KIND,
        addresses=((address, 80),), sightings=(sighting,),
    )  # fmt: skip


def reported_by(number: int) -> dict[str, Reported]:
    """Return everything that a device says when it is read."""
    extractor = Extractor(profile(80))
    values: dict[str, Reported] = {}
    for path, body in bodies(number).items():
        found, _ = extractor.extract(path.removeprefix("/"), decode_json(body))
        values |= found
    return values
