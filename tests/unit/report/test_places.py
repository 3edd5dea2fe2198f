"""Findings by room and place."""

from pattress.model.finding import Finding, Subject
from pattress.report.places import MAX_PLACES, NO_ROOM, SITE_ITSELF, by_room, rules_of
from unit.report.examples import ANSWERS, ATTIC, BROKER, HALL, HEAT, SIGNAL, STRANGER


def at(subject: Subject) -> Finding:
    return Finding(HEAT, subject, "output.1.on", "broken", "true", False)


def test_rooms_of_the_plan_come_first_then_strangers_then_the_site_itself() -> None:
    rooms = by_room([at(BROKER), at(STRANGER), at(HALL), at(ATTIC)])

    assert [room.name for room in rooms] == ["Attic", "Hall", NO_ROOM, SITE_ITSELF]


def test_a_room_is_one_room_whether_or_not_its_devices_were_seen() -> None:
    """A point whose module is gone has no device."""
    gone = Subject(point="attic-vent", room="Attic", kind="k")

    rooms = by_room([at(ATTIC), at(gone), at(HALL)])

    assert [(room.name, len(room.places)) for room in rooms] == [("Attic", 2), ("Hall", 1)]


def test_two_strangers_of_one_name_are_two_places() -> None:
    one, other = (Subject(device=f"mac:{number}", device_title="lamp") for number in range(2))

    [room] = by_room([at(one), at(other), at(one)])

    assert [len(place.findings) for place in room.places] == [2, 1]


def test_strangers_of_a_known_kind_come_before_others() -> None:
    known = Subject(device="mac:9", device_title="zebra", kind="k")

    [room] = by_room([at(STRANGER), at(known)])

    assert [place.subject.title for place in room.places] == ["zebra", "lamp"]


def test_a_flood_is_counted_not_listed() -> None:
    [room] = by_room(at(Subject(device=f"name:{number}", device_title=f"fake {number}")) for number in range(250))

    assert (len(room.places), room.left_out) == (MAX_PLACES, 250 - MAX_PLACES)


def test_rules_stand_once_the_gravest_first() -> None:
    findings = [Finding(rule, HALL, None, "broken", "x") for rule in (SIGNAL, HEAT, ANSWERS, HEAT)]

    assert rules_of(findings) == [HEAT, ANSWERS, SIGNAL]
