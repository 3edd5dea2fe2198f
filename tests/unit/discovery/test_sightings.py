"""From announcements to sightings."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from pattress.discovery.sightings import MAX_SIGHTINGS, Announcement, SightingMaker, Told
from pattress.model.profile import MdnsRecognition, Profile

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
QUILL = Profile(
    id="quill-d2",
    maker="Quill",
    model="D2",
    module_class="dual-relay",
    recognise_mdns=(MdnsRecognition(service_type="_quill._tcp", txt={"kind": "D2"}, mac_key="id", serial_key="sn"),),
)


def ticking() -> Iterator[datetime]:
    moment = NOON
    while True:
        yield moment
        moment += timedelta(seconds=1)


def announcement(text: bytes = b"") -> Announcement:
    return Announcement(service_type="_quill._tcp", label="q", host="q.local.", port=80, text=text)


def test_a_recognised_service_has_kind_and_identity() -> None:
    maker = SightingMaker("iot0", [QUILL], lambda: NOON)

    maker.tell(announcement(b"\x07kind=D2\x0fid=02005E005301\x05sn=Q7"), ["192.0.2.7"], {})

    (sighting,) = maker.take()
    assert (sighting.kind, sighting.mac, sighting.serial) == ("quill-d2", "02:00:5e:00:53:01", "Q7")


def test_attributes_are_shown_beside_the_host_and_cannot_be_taken_for_it() -> None:
    maker = SightingMaker("iot0", [], lambda: NOON)

    maker.tell(announcement(b"\x06host=x\x04flag\x06empty=\x04r=\xff\xfe"), ["192.0.2.7"], {})

    (sighting,) = maker.take()
    assert sighting.details == {
        "host": "q.local",
        "txt.host": "x",
        "txt.flag": "(no value)",
        "txt.empty": "",
        "txt.r": "\\xff\\xfe",
    }


def test_the_same_at_another_time_is_not_told_again() -> None:
    clock, told = ticking(), Told()
    maker = SightingMaker("iot0", [], lambda: next(clock))
    maker.tell(announcement(), ["192.0.2.7"], told)

    maker.tell(announcement(), ["192.0.2.7"], told)

    assert [one.seen_at for one in maker.take()] == [NOON]


def test_what_is_over_the_limit_is_counted() -> None:
    maker = SightingMaker("iot0", [], lambda: NOON)

    for number in range(MAX_SIGHTINGS + 3):
        maker.tell(announcement(b"\x05a=%03d" % (number % 2)), ["192.0.2.7"], {})

    assert (len(maker.take()), maker.count, maker.dropped) == (MAX_SIGHTINGS, MAX_SIGHTINGS, 3)


def test_a_goodbye_is_told_even_where_nothing_was_before() -> None:
    maker = SightingMaker("iot0", [], lambda: NOON)

    maker.say_goodbye(announcement(), {})

    assert [(one.name, one.address, one.is_gone) for one in maker.take()] == [("q", None, True)]
