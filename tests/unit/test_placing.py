"""Devices and the plan: which place names this device."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.device import Conflict, Device, Sighting
from pattress.model.kept import KnownDevice
from pattress.model.plan import OtherDevice, Plan, Point
from pattress.placing import Placing

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MAC, OTHER_MAC = "00:00:5e:00:53:01", "00:00:5e:00:53:02"


def device(mac: str | None = MAC, serial: str | None = "S1", names: tuple[str, ...] = ("Relay 1",)) -> Device:
    sightings = tuple(Sighting(source="mdns", seen_at=NOON, name=name) for name in names)
    return Device(
        id=f"{mac} {serial} {names}", mac=mac, serial=serial, name=None, kind=None, addresses=(), sightings=sightings
    )


def point(name: str = "hall", **words: str) -> Point:
    return Point(name=name, room="Hall", kind="relay", **words)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("place", "is_there"),
    [
        (point(mac=MAC), True),
        (point(serial="S1"), True),
        (point(announced="Relay 1"), True),
        (point(announced="Relay one"), True),
        (point(), False),
        (point(mac=OTHER_MAC), False),
        (point(mac=OTHER_MAC, serial="S1"), False),
    ],
)
def test_a_point_is_found_by_mac_serial_or_announced_name(place: Point, is_there: bool) -> None:
    found = Placing(Plan(points=(place,))).point_of(device(names=("Relay 1", "Relay one")))

    assert found == (place if is_there else None)


def test_an_entry_of_the_plan_is_found_in_the_same_way() -> None:
    bridge = OtherDevice(name="bridge", reason="r", serial="S1")
    placing = Placing(Plan(others=(bridge,)))

    assert placing.other_of(device()) == bridge
    assert placing.other_of(device(serial="S2")) is None
    assert placing.point_of(device()) is None


def test_what_several_claim_has_no_name() -> None:
    conflict = Conflict(identity="serial:S1", mac=None, serial="S1", claimants=("'Relay 1'", "'Relay 2'"))

    assert Placing(Plan(points=(point(announced="Relay 1"),))).point_of(conflict) is None
    assert Placing(Plan(points=(point(serial="S1"),))).point_of(conflict) is not None


def test_what_is_kept_is_found_by_the_name_that_is_kept() -> None:
    kept = KnownDevice(
        id="name:Relay 1", mac=None, serial=None, name="Relay 1", kind=None, address=None, port=None,
        first_seen=NOON, last_seen=NOON, last_read=None, last_outcome=None,
    )  # fmt: skip

    assert Placing(Plan(points=(point(announced="Relay 1"),))).point_of(kept) is not None


def names(place: Point, item: Device) -> bool:
    """The rule itself, without an index."""
    if place.mac is not None:
        return place.mac == item.mac
    if place.serial is not None:
        return place.serial == item.serial
    return place.announced is not None and any(one.name == place.announced for one in item.sightings)


WORDS = {
    "mac": st.sampled_from([None, MAC, OTHER_MAC]),
    "serial": st.sampled_from([None, "S1", "S2"]),
}
POINTS = st.lists(st.fixed_dictionaries({**WORDS, "announced": st.sampled_from([None, "a", "b"])}), max_size=6).map(
    lambda drawn: tuple(point(f"p{number}", **words) for number, words in enumerate(drawn))
)
DEVICES = st.lists(
    st.builds(device, **WORDS, names=st.lists(st.sampled_from(["a", "b"]), max_size=2).map(tuple)), max_size=5
)


@given(POINTS, DEVICES)
def test_the_index_finds_what_a_search_would(points: tuple[Point, ...], devices: list[Device]) -> None:
    placing = Placing(Plan(points=points))

    assert [placing.point_of(one) for one in devices] == [
        next((place for place in points if names(place, one)), None) for one in devices
    ]
    first = {place.name: next((one for one in devices if names(place, one)), None) for place in points}
    assert placing.at_points(devices) == {name: one for name, one in first.items() if one is not None}
