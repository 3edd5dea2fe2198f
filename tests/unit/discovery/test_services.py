"""What the records on one interface come to, record by record and second by second."""

import math
from collections.abc import Callable
from datetime import UTC, datetime
from ipaddress import ip_address

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.discovery.questions import TYPE_PTR
from pattress.discovery.services import (
    ENUMERATION,
    MAX_ADDRESSES,
    MAX_INSTANCES,
    MAX_OTHER_INSTANCES,
    MAX_TYPES,
    ServiceTable,
)
from pattress.discovery.sightings import SightingMaker
from pattress.model.device import Sighting

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
QUILL = "_quill._tcp.local."


class Interface:
    """A table on the interface iot0, and short words for what is heard there."""

    def __init__(self) -> None:
        self.made = SightingMaker("iot0", [], lambda: NOON)
        self.table = ServiceTable("iot0", ["_quill._tcp"], self.made)

    def announce(
        self, label: str, *addresses: str, at_s: float = 0.0, host: str = "a.local.", owner: str = QUILL
    ) -> None:
        self.pointer(label, at_s=at_s, owner=owner)
        self.table.service(f"{label}.{owner}", host, 80)
        self.table.text(f"{label}.{owner}", b"\x03a=1")
        for address in addresses:
            self.address(address, at_s=at_s, host=host)

    def pointer(self, label: str, *, ttl_s: int = 4500, at_s: float = 0.0, owner: str = QUILL) -> None:
        self.table.pointer(owner, f"{label}.{owner}", ttl_s=ttl_s, at_s=at_s)

    def address(self, address: str, *, at_s: float = 0.0, host: str = "a.local.", replaces: bool = False) -> None:
        self.table.address(host, ip_address(address).packed, at_s=at_s, replaces=replaces)

    def sightings(self, at_s: float = 0.0) -> list[Sighting]:
        self.table.pass_time(at_s)
        self.table.tell()
        return self.made.take()

    def asked(self) -> list[tuple[str, int]]:
        return [(question.name, question.type) for question in self.table.wanted]


@pytest.fixture
def heard() -> Interface:
    return Interface()


def test_a_service_that_is_known_in_full_is_told_at_once(heard: Interface) -> None:
    heard.announce("Quill.7 \\ x", "192.0.2.7")

    assert heard.sightings() == [
        Sighting(
            source="mdns",
            seen_at=NOON,
            name="Quill.7 \\ x",
            address="192.0.2.7",
            port=80,
            channel="_quill._tcp on iot0",
            details={"host": "a.local", "txt.a": "1"},
        )
    ]


def test_there_is_one_sighting_for_each_address_and_link_local_ones_have_their_zone(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7", "fe80::7", "2001:db8::7", "::ffff:192.0.2.8")

    addresses = [sighting.address for sighting in heard.sightings()]

    assert addresses == ["192.0.2.7", "fe80::7%iot0", "2001:db8::7", "192.0.2.8"]


def test_nothing_is_told_twice(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7")
    heard.sightings()

    heard.announce("q", "192.0.2.7", at_s=1.0)

    assert heard.sightings(9.0) == []


def test_a_service_is_asked_about_until_it_is_known(heard: Interface) -> None:
    heard.pointer("q")
    about_service = heard.asked()[2:]
    heard.table.service(f"q.{QUILL}", "a.local.", 80)
    about_host = heard.asked()[2:]
    heard.table.text(f"q.{QUILL}", b"")
    heard.address("192.0.2.7")
    heard.address("2001:db8::7")

    assert about_service == [(f"q.{QUILL}", 33), (f"q.{QUILL}", 16)]
    assert about_host == [(f"q.{QUILL}", 16), ("a.local.", 1), ("a.local.", 28)]
    assert heard.asked() == [(ENUMERATION, TYPE_PTR), (QUILL, TYPE_PTR)]


@pytest.mark.parametrize(
    ("forget", "expected"),
    [("address", (None, 80, {"host": "a.local", "txt.a": "1"})), ("text", ("192.0.2.7", 80, {"host": "a.local"}))],
)
def test_a_service_that_stays_unknown_in_part_is_told_as_far_as_it_is_known(
    heard: Interface, forget: str, expected: tuple[object, ...]
) -> None:
    heard.pointer("q", at_s=10.0)
    heard.table.service(f"q.{QUILL}", "a.local.", 80)
    if forget == "address":
        heard.table.text(f"q.{QUILL}", b"\x03a=1")
    else:
        heard.address("192.0.2.7")

    early, late = heard.sightings(11.9), heard.sightings(heard.table.next_s)

    assert early == []
    assert [(one.address, one.port, one.details) for one in late] == [expected]


def test_a_service_of_which_only_the_name_is_known_is_accounted_for(heard: Interface) -> None:
    heard.pointer("q")

    (sighting,) = heard.sightings(math.inf)

    assert (sighting.name, sighting.address, sighting.port, sighting.details) == ("q", None, None, {})


def test_another_txt_record_makes_another_sighting(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7", "2001:db8::7")
    heard.sightings()

    heard.table.text(f"q.{QUILL}", b"\x03a=2")

    assert [(one.address, one.details["txt.a"]) for one in heard.sightings()] == [
        ("192.0.2.7", "2"),
        ("2001:db8::7", "2"),
    ]


def test_a_new_address_makes_one_sighting_and_the_old_one_is_not_told_again(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7", at_s=0.0)
    heard.sightings()

    heard.address("192.0.2.8", at_s=5.0, replaces=True)
    moved = heard.sightings(5.0)
    heard.table.text(f"q.{QUILL}", b"\x03a=2")
    changed = heard.sightings(5.0)

    # RFC 6762 section 10.2: a cache-flush record puts those heard more than a second ago out of date.
    assert [one.address for one in moved] == ["192.0.2.8"]
    assert [one.address for one in changed] == ["192.0.2.8"]


def test_addresses_of_one_announcement_do_not_put_each_other_out_of_date(heard: Interface) -> None:
    heard.announce("q")

    heard.address("192.0.2.7", at_s=5.0, replaces=True)
    heard.address("192.0.2.8", at_s=5.9, replaces=True)
    heard.address("2001:db8::7", at_s=9.0, replaces=True)

    assert [one.address for one in heard.sightings()] == ["192.0.2.7", "192.0.2.8", "2001:db8::7"]


def test_a_service_that_moves_to_another_host_has_its_addresses(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7")
    heard.sightings()

    heard.table.service(f"q.{QUILL}", "b.local.", 80)
    heard.address("192.0.2.9", host="b.local.")
    heard.address("192.0.2.10", host="a.local.")

    assert [(one.address, one.details["host"]) for one in heard.sightings()] == [("192.0.2.9", "b.local")]


def test_two_services_of_one_host_are_both_told_of_its_address(heard: Interface) -> None:
    heard.announce("q")
    heard.announce("q", owner="_http._tcp.local.")

    heard.address("192.0.2.7")

    assert [(one.name, one.channel) for one in heard.sightings()] == [
        ("q", "_quill._tcp on iot0"),
        ("q", "_http._tcp on iot0"),
    ]


def test_a_goodbye_counts_after_a_second_for_each_address(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7", "2001:db8::7")
    heard.sightings()

    heard.pointer("q", ttl_s=0, at_s=5.0)
    early, late, later = heard.sightings(5.9), heard.sightings(heard.table.next_s), heard.sightings(99.0)

    # RFC 6762 section 10.1
    assert early == later == []
    assert [(one.address, one.is_gone, one.port) for one in late] == [
        ("192.0.2.7", True, 80),
        ("2001:db8::7", True, 80),
    ]


def test_a_service_that_is_announced_within_the_second_has_not_gone(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7")
    heard.sightings()

    heard.pointer("q", ttl_s=0, at_s=5.0)
    heard.announce("q", "192.0.2.7", at_s=5.8)

    assert heard.sightings(99.0) == []


def test_a_service_that_comes_back_is_told_again(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7")
    heard.pointer("q", ttl_s=0, at_s=1.0)
    heard.sightings(2.0)

    heard.announce("q", "192.0.2.7", at_s=3.0)

    assert [(one.address, one.is_gone) for one in heard.sightings(3.0)] == [("192.0.2.7", False)]


def test_a_goodbye_of_a_service_that_was_never_heard_says_nothing(heard: Interface) -> None:
    heard.pointer("q", ttl_s=0)

    assert heard.sightings(99.0) == []


def test_a_service_that_has_expired_is_forgotten_without_a_goodbye(heard: Interface) -> None:
    heard.announce("q", "192.0.2.7")
    heard.sightings()

    heard.table.expired(f"q.{QUILL}")

    assert heard.sightings(99.0) == []
    assert heard.table.known_answers(1.0) == {}


@pytest.mark.parametrize("target", ["_lamp._udp.local.", "_LAMP._udp.local.", "_a-b._tcp.local."])
def test_a_type_that_is_announced_is_browsed(heard: Interface, target: str) -> None:
    heard.table.pointer(ENUMERATION, target, ttl_s=4500, at_s=0.0)

    assert (target.lower(), TYPE_PTR) in heard.asked()


@pytest.mark.parametrize(
    "target",
    ["_T266._sub._matterc._udp.local.", "_x._sctp.local.", "x._tcp.local.", "_tcp.local.", ".", "", "_-._tcp.local."],
)
def test_what_is_no_type_is_not_browsed(heard: Interface, target: str) -> None:
    before = heard.asked()

    heard.table.pointer(ENUMERATION, target, ttl_s=4500, at_s=0.0)

    assert heard.asked() == before
    assert heard.table.dropped == 0


def test_a_goodbye_to_a_type_is_passed_over_because_others_may_offer_it(heard: Interface) -> None:
    heard.table.pointer(ENUMERATION, QUILL, ttl_s=0, at_s=0.0)

    assert (QUILL, TYPE_PTR) in heard.asked()


@pytest.mark.parametrize(
    ("owner", "target"),
    [
        (QUILL, "q._other._tcp.local."),
        (QUILL, QUILL),
        (QUILL, "." + QUILL),
        ("_sub._sub._quill._tcp.local.", "q._quill._tcp.local."),
        ("7.2.0.192.in-addr.arpa.", "a.local."),
        ("local.", "a.local."),
    ],
)
def test_a_pointer_that_points_at_no_service_of_its_type_is_passed_over(
    heard: Interface, owner: str, target: str
) -> None:
    heard.table.pointer(owner, target, ttl_s=4500, at_s=0.0)

    assert heard.sightings(math.inf) == []


def test_case_of_a_name_counts_for_nothing_in_ascii_and_for_something_outside_it(heard: Interface) -> None:
    heard.announce("QUILL", "192.0.2.7", owner="_QUILL._tcp.LOCAL.")
    heard.announce("quill", "192.0.2.7", host="A.LOCAL.")
    heard.announce("Ä", "192.0.2.7")
    heard.announce("ä", "192.0.2.7")

    assert [(one.name, one.channel) for one in heard.sightings()] == [
        ("QUILL", "_quill._tcp on iot0"),
        ("Ä", "_quill._tcp on iot0"),
        ("ä", "_quill._tcp on iot0"),
    ]


def test_what_is_known_need_not_be_answered_until_half_its_time_is_over(heard: Interface) -> None:
    heard.pointer("q.1", ttl_s=100, at_s=0.0)

    ((question, answers),) = heard.table.known_answers(40.0).items()

    # RFC 6762 section 7.1
    assert question.name == QUILL
    assert [(answer.labels[0], answer.ttl_s) for answer in answers] == [(b"q.1", 60)]
    assert heard.table.known_answers(50.0) == {}


def test_services_over_the_limit_are_counted_and_modules_keep_their_room(heard: Interface) -> None:
    for number in range(MAX_OTHER_INSTANCES + 10):
        heard.pointer(f"other {number}", owner="_other._tcp.local.")
    for number in range(MAX_INSTANCES):
        heard.pointer(f"quill {number}")

    told = heard.sightings(math.inf)

    named = [one for one in told if one.channel.startswith("_quill")]
    assert (len(told), len(named)) == (MAX_INSTANCES, MAX_INSTANCES - MAX_OTHER_INSTANCES)
    assert heard.table.dropped == 10 + MAX_OTHER_INSTANCES


def test_a_service_that_has_gone_leaves_its_room_to_another(heard: Interface) -> None:
    for number in range(MAX_OTHER_INSTANCES):
        heard.pointer(f"other {number}", owner="_other._tcp.local.")
    heard.pointer("other 7", ttl_s=0, owner="_other._tcp.local.")
    heard.sightings(math.inf)

    heard.pointer("one more", owner="_other._tcp.local.")

    assert heard.table.dropped == 0


def test_types_over_the_limit_are_counted_and_not_browsed(heard: Interface) -> None:
    for number in range(MAX_TYPES + 5):
        heard.table.pointer(ENUMERATION, f"_t{number}._tcp.local.", ttl_s=4500, at_s=0.0)

    assert len(heard.asked()) == MAX_TYPES + 2
    assert heard.table.dropped == 5


def test_of_too_many_addresses_the_newest_are_kept(heard: Interface) -> None:
    heard.announce("q", *(f"192.0.2.{number}" for number in range(1, MAX_ADDRESSES + 3)))

    addresses = [one.address for one in heard.sightings()]

    assert addresses == [f"192.0.2.{number}" for number in range(3, MAX_ADDRESSES + 3)]


def test_a_host_that_no_service_is_on_any_more_is_not_asked_for(heard: Interface) -> None:
    heard.announce("q", host="a.local.")

    heard.pointer("q", ttl_s=0, at_s=0.0)
    heard.sightings(2.0)

    assert heard.asked() == [(ENUMERATION, TYPE_PTR), (QUILL, TYPE_PTR)]


NAMES = st.sampled_from(["q", "Q", "q.1", "", "\x1b[31m", "<b>", "\ufffd", "a" * 90]) | st.text(max_size=4)
OWNERS = st.sampled_from([QUILL, "_QUILL._tcp.local.", "_x._udp.local.", ENUMERATION, "a.local.", "."])
HOSTS = st.sampled_from(["a.local.", "A.local.", ".", "", "b.c.d.", "\ufffd."])
STEPS = st.one_of(
    st.builds(
        lambda o, n, t: lambda h, at: h.pointer(n, ttl_s=t, at_s=at, owner=o),
        OWNERS,
        NAMES,
        st.sampled_from([0, 1, 4500]),
    ),
    st.builds(lambda o, n, h2: lambda h, at: h.table.service(f"{n}.{o}", h2, 80), OWNERS, NAMES, HOSTS),
    st.builds(lambda o, n, b: lambda h, at: h.table.text(f"{n}.{o}", b), OWNERS, NAMES, st.binary(max_size=9)),
    st.builds(
        lambda h2, b, r: lambda h, at: h.table.address(h2, b, at_s=at, replaces=r),
        HOSTS,
        st.binary(min_size=4, max_size=4) | st.binary(min_size=16, max_size=16) | st.binary(max_size=3),
        st.booleans(),
    ),
    st.builds(lambda o, n: lambda h, at: h.table.expired(f"{n}.{o}"), OWNERS, NAMES),
)


@given(st.lists(STEPS, max_size=40))
def test_whatever_comes_in_the_end_every_service_was_told_and_nothing_is_open(
    steps: list[Callable[[Interface, float], None]],
) -> None:
    heard, told = Interface(), []

    for number, step in enumerate(steps):
        step(heard, number * 0.4)
        told.extend(heard.sightings(number * 0.4))
    told.extend(heard.sightings(math.inf))

    known = {answer.labels[0] for answers in heard.table.known_answers(0.0).values() for answer in answers}
    assert known <= {(one.name or "").encode() for one in told}
    assert heard.table.next_s == math.inf
    assert heard.sightings(math.inf) == []
