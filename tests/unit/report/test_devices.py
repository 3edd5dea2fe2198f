"""What discovery saw, for people and for machines."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from pattress.model.device import Device, Sighting
from pattress.model.kept import KnownDevice, ReadOutcome
from pattress.report.devices import comparison_text, devices_text, discovered_text
from pattress.report.document import device_entry
from pattress.report.text import Style

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)
LOCAL = f"{NOW.astimezone():%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class Placed:
    device: Device
    point: str | None = None
    other: str | None = None


@dataclass(frozen=True)
class PlacedKnown:
    device: KnownDevice
    point: str | None = None


def device(mac: str | None, *sightings: Sighting) -> Device:
    return Device(
        id=f"mac:{mac}" if mac else "name:x",
        mac=mac,
        serial=None,
        name=None,
        kind=None,
        addresses=(),
        sightings=sightings,
    )


def text(mac: str | None, *sightings: Sighting) -> str:
    return discovered_text([Placed(device(mac, *sightings))], [], [], now=NOW, style=Style())


def test_the_maker_stands_beside_a_registered_hardware_address() -> None:
    assert "  mac:00:00:5e:00:53:01, ICANN, IANA Department, no profile knows" in text("00:00:5e:00:53:01")


def test_a_private_hardware_address_is_called_so() -> None:
    shown = text("02:00:5e:00:53:01")

    assert "  mac:02:00:5e:00:53:01, private (locally administered) address, no profile knows" in shown


def test_nothing_stands_where_there_is_no_hardware_address() -> None:
    assert "  name:x, no profile knows its kind" in text(None)


def test_machines_are_told_the_same() -> None:
    entries = [
        device_entry(device(mac), point=None, other=None) for mac in ("00:00:5e:00:53:01", "02:00:5e:00:53:01", None)
    ]

    assert [(one["maker_by_oui"], one["is_private_mac"]) for one in entries] == [
        ("ICANN, IANA Department", False),
        (None, True),
        (None, None),
    ]


def test_a_neighbour_and_a_lease_are_told_as_what_they_are() -> None:
    seen_at = NOW - timedelta(seconds=7)
    common = {"address": "192.0.2.7", "channel": "neighbour table on iot0"}
    there = Sighting(source="neighbour", seen_at=seen_at, details={"state": "reachable"}, **common)
    stale = Sighting(source="neighbour", seen_at=seen_at, is_dated=False, details={"state": "stale"}, **common)
    lease = Sighting(
        source="lease", seen_at=NOW, name="relay\x07", is_dated=False, details={"expires": "never"}, address="192.0.2.7"
    )

    assert "neighbour (neighbour table on iot0): is a neighbour of this host at 192.0.2.7, 7 s ago" in text(None, there)
    assert "is a neighbour of this host at 192.0.2.7, of unknown age (stale)" in text(None, stale)
    assert "lease: was given an address as 'relay\\x07' at 192.0.2.7, lease expires never" in text(None, lease)


def test_one_is_told_in_the_singular() -> None:
    assert "\n1 device. Sources:\n" in text(None)
    assert comparison_text(("a", "b"), [("mqtt.port", 1, 2)], shows_all=False).endswith("1 of 1 setting differs.\n")


@pytest.mark.parametrize(
    ("last_read", "last_outcome", "told"),
    [
        (None, None, "never"),
        (None, "unreadable", "never"),
        (NOW, "read", LOCAL),
        (NOW, "unreadable", f"{LOCAL} (not the last time)"),
    ],
)
def test_a_device_is_listed_with_when_it_could_be_read_last(
    last_read: datetime | None, last_outcome: ReadOutcome | None, told: str
) -> None:
    known = KnownDevice(
        id="name:x", mac=None, serial=None, name="x", kind=None, address=None, port=None, first_seen=NOW,
        last_seen=NOW, last_read=last_read, last_outcome=last_outcome,
    )  # fmt: skip

    [_, row] = devices_text([PlacedKnown(known)], Style()).splitlines()

    assert row.endswith(f"{LOCAL}  {told}")
