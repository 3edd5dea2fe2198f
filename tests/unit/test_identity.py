"""Sightings into devices."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.identity import merge
from pattress.model.device import LINK_SOURCES, Sighting

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MAC = "00:00:5e:00:53:01"


def mdns(name: str, **more: object) -> Sighting:
    fields: dict[str, object] = {"source": "mdns", "seen_at": NOON, "name": name, "kind": "relay", **more}
    return Sighting(**fields)  # type: ignore[arg-type]


def test_sightings_with_one_mac_are_one_device_wherever_they_come_from() -> None:
    announced = mdns("Relay 1", mac=MAC, address="192.0.2.7", port=80)
    on_broker = mdns("r1", source="mqtt", mac=MAC, serial="S1")

    [device] = merge([announced, on_broker]).devices

    assert device.id == f"mac:{MAC}"
    assert device.serial == "S1"
    assert device.addresses == (("192.0.2.7", 80),)


def test_a_serial_leads_to_the_mac_that_another_sighting_gives_it() -> None:
    [device] = merge([mdns("a", serial="S1"), mdns("a", source="reading", serial="S1", mac=MAC)]).devices

    assert device.id == f"mac:{MAC}"


def test_a_reading_gives_a_nameless_announcement_its_identity() -> None:
    [device] = merge([mdns("Relay 1"), mdns("Relay 1", source="reading", mac=MAC)]).devices

    assert device.id == f"mac:{MAC}"


@pytest.mark.parametrize(
    ("sighting", "identity"),
    [
        (mdns("a", mac=MAC, serial="S1"), f"mac:{MAC}"),
        (mdns("a", serial="S1"), "serial:S1"),
        (mdns("a"), "name:a"),
    ],
)
def test_a_device_is_its_mac_then_its_serial_then_its_name(sighting: Sighting, identity: str) -> None:
    assert [device.id for device in merge([sighting]).devices] == [identity]


def test_an_address_is_never_an_identity() -> None:
    devices = merge([mdns("a", mac=MAC, address="192.0.2.7"), mdns("b", serial="S2", address="192.0.2.7")]).devices

    assert [device.id for device in devices] == [f"mac:{MAC}", "serial:S2"]


def test_a_service_that_no_profile_knows_belongs_to_the_one_device_at_its_address() -> None:
    known = mdns("Relay 1", mac=MAC, address="192.0.2.7", port=8080)
    page = mdns("Relay 1 page", kind=None, address="192.0.2.7", port=80)

    [device] = merge([known, page]).devices

    assert device.name == "Relay 1"
    assert device.addresses == (("192.0.2.7", 8080),)


def test_a_service_that_no_profile_knows_is_a_device_of_its_own_elsewhere() -> None:
    known = mdns("Relay 1", mac=MAC, address="192.0.2.7")
    printer = mdns("Printer", kind=None, address="192.0.2.8")

    assert [device.id for device in merge([known, printer]).devices] == [f"mac:{MAC}", "name:Printer"]


def test_the_newest_live_address_comes_before_an_older_and_a_kept_one() -> None:
    kept = mdns("a", source="kept", mac=MAC, address="192.0.2.5", seen_at=NOON + timedelta(hours=1))
    old = mdns("a", mac=MAC, address="192.0.2.6")
    new = mdns("a", mac=MAC, address="192.0.2.7", seen_at=NOON + timedelta(seconds=1))

    [device] = merge([kept, old, new]).devices

    assert [address for address, _ in device.addresses] == ["192.0.2.7", "192.0.2.6", "192.0.2.5"]


@pytest.mark.parametrize("source", ["mdns", "mqtt", "reading"])
def test_two_names_with_one_mac_at_two_addresses_are_a_conflict_and_no_device(source: str) -> None:
    one = mdns("Relay 1", source=source, mac=MAC, address="192.0.2.7")
    other = mdns("Relay 2", source=source, mac=MAC, address="192.0.2.8")

    merged = merge([one, other])

    assert merged.devices == ()
    [conflict] = merged.conflicts
    assert conflict.claimants == ("'Relay 1' at 192.0.2.7", "'Relay 2' at 192.0.2.8")


def test_one_name_at_two_addresses_is_one_device() -> None:
    four = mdns("Relay 1", mac=MAC, address="192.0.2.7")
    six = mdns("Relay 1", mac=MAC, address="2001:db8::7")

    merged = merge([four, six])

    assert merged.conflicts == ()
    assert len(merged.devices) == 1


def test_a_goodbye_is_no_claim() -> None:
    left = mdns("Relay 1", mac=MAC, address="192.0.2.7", is_gone=True)
    came = mdns("Relay 2", mac=MAC, address="192.0.2.8")

    merged = merge([left, came])

    assert merged.conflicts == ()
    assert merged.devices[0].is_seen


@pytest.mark.parametrize(
    ("sighting", "seen", "announced"),
    [
        (mdns("a"), True, True),
        (mdns("a", source="reading"), True, True),
        (mdns("a", source="mqtt", is_dated=False), False, True),
        (mdns("a", is_gone=True), False, False),
        (mdns("a", source="kept"), False, False),
        (mdns("a", source="point"), False, False),
    ],
)
def test_only_what_was_heard_now_says_that_a_device_is_there(sighting: Sighting, seen: bool, announced: bool) -> None:
    [device] = merge([sighting]).devices

    assert (device.is_seen, device.is_announced) == (seen, announced)


def link(mac: str, address: str, **more: object) -> Sighting:
    fields: dict[str, object] = {"source": "neighbour", "seen_at": NOON, "mac": mac, "address": address, **more}
    return Sighting(**fields)  # type: ignore[arg-type]


def test_a_neighbour_entry_joins_the_device_with_its_mac() -> None:
    [device] = merge([mdns("Relay 1", mac=MAC, address="192.0.2.7"), link(MAC, "192.0.2.7")]).devices

    assert device.id == f"mac:{MAC}"
    assert len(device.sightings) == 2


@pytest.mark.parametrize("source", ["neighbour", "lease"])
def test_a_device_that_did_not_say_its_mac_has_it_from_the_link(source: str) -> None:
    [device] = merge([mdns("Relay 1", serial="S1", address="192.0.2.7"), link(MAC, "192.0.2.7", source=source)]).devices

    assert (device.id, device.mac, device.serial) == (f"mac:{MAC}", MAC, "S1")


def test_a_device_keeps_the_mac_that_it_reports_where_the_link_says_another() -> None:
    [device] = merge([mdns("Relay 1", mac=MAC, address="192.0.2.7"), link("00:00:5e:00:53:09", "192.0.2.7")]).devices

    assert device.mac == MAC
    assert {one.mac for one in device.sightings} == {MAC, "00:00:5e:00:53:09"}


def test_a_neighbour_that_announces_nothing_is_a_device_of_its_own() -> None:
    [device] = merge([link(MAC, "192.0.2.9")]).devices

    assert device.id == f"mac:{MAC}"
    assert device.is_seen
    assert device.addresses == (("192.0.2.9", None),)


def test_a_lease_alone_does_not_say_that_a_device_is_there() -> None:
    [device] = merge([link(MAC, "192.0.2.9", source="lease", is_dated=False)]).devices

    assert device.is_announced
    assert not device.is_seen


def test_an_old_entry_of_an_address_counts_for_nothing_beside_the_one_of_now() -> None:
    old = link("00:00:5e:00:53:09", "192.0.2.7", is_dated=False)

    merged = merge([mdns("Relay 1", serial="S1", address="192.0.2.7"), old, link(MAC, "192.0.2.7")])

    assert [device.id for device in merged.devices] == [f"mac:{MAC}"]


SIGHTINGS = st.lists(
    st.builds(
        Sighting,
        source=st.sampled_from(["mdns", "mqtt", "kept", "reading", "neighbour", "lease"]),
        is_dated=st.booleans(),
        seen_at=st.integers(0, 3).map(lambda second: NOON + timedelta(seconds=second)),
        name=st.sampled_from(["a", "b", None]),
        address=st.sampled_from(["192.0.2.1", "192.0.2.2", None]),
        mac=st.sampled_from([MAC, "00:00:5e:00:53:02", None]),
        serial=st.sampled_from(["S1", "S2", None]),
        kind=st.sampled_from(["relay", None]),
        is_gone=st.booleans(),
    ),
    max_size=8,
)


@given(SIGHTINGS, st.randoms())
def test_the_order_of_the_evidence_does_not_matter(sightings: list[Sighting], random: object) -> None:
    shuffled = list(sightings)
    random.shuffle(shuffled)  # type: ignore[attr-defined]

    assert merge(shuffled) == merge(sightings)


@given(SIGHTINGS)
def test_no_evidence_is_lost_but_that_of_contested_identities(sightings: list[Sighting]) -> None:
    merged = merge(sightings)

    stale = [one for one in sightings if one.source in LINK_SOURCES and not one.is_dated]
    kept = sum(len(device.sightings) for device in merged.devices)
    assert kept >= len(sightings) - len(stale) or merged.conflicts
    assert len({device.id for device in merged.devices}) == len(merged.devices)
