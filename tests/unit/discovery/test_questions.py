"""Questions of multicast DNS on the wire, read back by the library's own parser, and their schedule."""

import itertools
import math

from hypothesis import given
from hypothesis import strategies as st
from zeroconf import DNSIncoming

from pattress.discovery.questions import (
    MAX_PACKET_BYTES,
    TYPE_A,
    TYPE_PTR,
    TYPE_SRV,
    KnownAnswer,
    Question,
    Schedule,
    checked_labels,
    labels_of,
    packets,
)

BROWSE = Question("_quill._tcp.local.", TYPE_PTR, labels_of("_quill._tcp.local."))
HOST = Question("relay-7.local.", TYPE_A, labels_of("relay-7.local."))


def instance(label: str) -> Question:
    name = f"{label}._quill._tcp.local."
    return Question(name, TYPE_SRV, checked_labels([label, "_quill", "_tcp", "local"]))


def test_the_library_reads_the_questions_that_were_written() -> None:
    (packet,) = packets([BROWSE, HOST])

    read = DNSIncoming(packet)

    assert read.valid
    assert [(one.name, one.type, one.class_, one.unicast) for one in read.questions] == [
        ("_quill._tcp.local.", 12, 1, False),
        ("relay-7.local.", 1, 1, False),
    ]
    assert packet[:4] == bytes(4)  # RFC 6762 section 18: ID 0, a query


def test_an_instance_with_dots_and_backslashes_is_one_label() -> None:
    (packet,) = packets([instance("Hall relay.7 \\ küche")])

    label = "Hall relay.7 \\ küche".encode()
    assert bytes([len(label)]) + label + b"\x06_quill\x04_tcp\x05local\x00" in packet


def test_known_answers_are_read_as_pointers_to_the_instances() -> None:
    known = {BROWSE: [KnownAnswer(checked_labels(["a.b", "_quill", "_tcp", "local"]) or (), 4000)]}

    (packet,) = packets([HOST, BROWSE], known)

    (answer,) = DNSIncoming(packet).answers()
    assert (answer.name, answer.type, answer.ttl, answer.alias) == (
        "_quill._tcp.local.",
        12,
        4000,
        "a.b._quill._tcp.local.",
    )


def test_known_answers_end_where_the_packet_does() -> None:
    known = {BROWSE: [KnownAnswer((b"i%04d" % number, *BROWSE.labels), 4500) for number in range(500)]}

    (packet,) = packets([BROWSE], known)

    assert MAX_PACKET_BYTES - 30 < len(packet) <= MAX_PACKET_BYTES
    assert len(DNSIncoming(packet).answers()) > 50


def test_questions_that_do_not_fit_go_into_another_packet() -> None:
    questions = [instance(f"{number:060d}") for number in range(100)]

    written = list(packets(questions))

    assert all(len(packet) <= MAX_PACKET_BYTES for packet in written)
    assert [one.name for packet in written for one in DNSIncoming(packet).questions] == [one.name for one in questions]


def test_a_name_that_is_not_known_or_too_long_is_not_asked_for() -> None:
    names = [instance("a" * 64), instance("bad \ufffd byte"), instance(""), instance("ü" * 32), Question("", 1, None)]

    assert [one.labels for one in names] == [None] * 5
    assert list(packets(names)) == []
    assert labels_of(".".join(["a" * 60] * 5)) is None
    assert labels_of(".") is None


@given(st.lists(st.text(max_size=80), min_size=1, max_size=6))
def test_what_can_be_asked_for_is_read_back(labels: list[str]) -> None:
    name = ".".join(labels) + "."
    question = Question(name, TYPE_SRV, checked_labels(labels))

    written = list(packets([question]))

    if question.labels is not None and len(name) <= 253:
        assert [DNSIncoming(packet).questions[0].name for packet in written] == [name]


def test_a_question_is_repeated_after_a_second_and_then_at_doubling_intervals() -> None:
    schedule, asked = Schedule(), []
    at_s = 100.0

    while at_s < 20_000:
        asked.extend([at_s] * len(schedule.due([BROWSE], at_s=at_s, at_most=9)))
        at_s = schedule.next_s([BROWSE])

    # RFC 6762 section 5.2: a second between the first two, then at least doubling, up to an hour.
    gaps = [later - earlier for earlier, later in itertools.pairwise(asked)]
    assert gaps[:12] == [2.0**power for power in range(12)]
    assert set(gaps[12:]) == {3600.0}


def test_a_question_about_one_service_is_given_up_after_three_tries() -> None:
    schedule, asked = Schedule(), []
    at_s = 0.0

    while at_s < math.inf:
        asked.extend(schedule.due([HOST], at_s=at_s, at_most=9))
        at_s = schedule.next_s([HOST])

    assert asked == [HOST] * 3


def test_questions_for_services_come_first_and_the_rest_stays_due() -> None:
    schedule = Schedule()
    wanted = [instance("a"), instance("b"), BROWSE]

    first = schedule.due(wanted, at_s=1.0, at_most=2)

    assert first == [BROWSE, instance("a")]
    assert schedule.next_s(wanted) == -math.inf
    assert schedule.due(wanted, at_s=1.0, at_most=2) == [instance("b")]
    assert schedule.next_s(wanted) == 2.0


def test_a_question_that_came_up_again_is_asked_at_once() -> None:
    schedule = Schedule()
    schedule.due([HOST], at_s=1.0, at_most=9)

    schedule.due([], at_s=1.5, at_most=9)

    assert schedule.due([HOST], at_s=1.6, at_most=9) == [HOST]
