"""What is new in a connection table from look to look."""

import ipaddress
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pattress.egress import connection_changes
from pattress.egress.connection_changes import TELL_AGAIN, ConnectionChanges
from pattress.egress.connections import Connection
from pattress.model.encounter import Traffic

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
ASKED = Traffic(
    source="router",
    at=NOON,
    sender=ipaddress.ip_address("192.0.2.17"),
    receiver=ipaddress.ip_address("203.0.113.9"),
    protocol=17,
    sender_port=40_000,
    receiver_port=123,
    packets=1,
    octets=76,
    initiator="sender",
    is_answered=False,
)
ANSWERED = replace(ASKED, is_answered=True, packets=3, octets=228, back_packets=2, back_octets=152)


UNCOUNTED = replace(ANSWERED, packets=0, octets=0, back_packets=0, back_octets=0)
LOOK = timedelta(seconds=5)


def later(traffic: Traffic, by: timedelta) -> Traffic:
    return replace(traffic, at=NOON + by)


def table(*traffic: Traffic, expires_s: int | None = 30) -> list[Connection]:
    return [Connection(one, expires_s) for one in traffic]


def told_over(expires_s: Iterable[int | None]) -> list[timedelta]:
    """When a connection that is not counted is told, whose time that is left was this in one look after the other."""
    changes = ConnectionChanges()
    return [
        one.at - NOON
        for number, left in enumerate(expires_s)
        for one in changes.of(table(later(UNCOUNTED, number * LOOK), expires_s=left))
    ]


def test_a_connection_is_told_once_as_long_as_nothing_changes() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table(ASKED))) for _ in range(3)]

    assert looks == [[ASKED], [], []]


def test_the_first_answer_is_told_with_what_came_since() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table(one))) for one in (ASKED, ANSWERED, ANSWERED)]

    since = replace(ANSWERED, packets=2, octets=152)
    assert looks == [[ASKED], [since], []]


def test_a_connection_that_goes_on_for_hours_is_told_again_with_what_came_since() -> None:
    changes = ConnectionChanges()
    looks = [later(replace(ANSWERED, packets=3 + minute), timedelta(minutes=minute)) for minute in range(121)]

    told = [one for now in looks for one in changes.of(table(now))]

    assert [one.at - NOON for one in told] == [timedelta(0), TELL_AGAIN, 2 * TELL_AGAIN]
    assert sum(one.packets for one in told) == looks[-1].packets


def test_a_connection_without_traffic_is_not_told_again() -> None:
    changes = ConnectionChanges()
    list(changes.of(table(ANSWERED)))

    told = list(changes.of(table(later(ANSWERED, timedelta(days=3)))))

    assert told == []


def test_a_connection_that_a_look_left_out_is_not_new_in_the_next() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table(*there))) for there in ([ASKED], [], [ASKED])]

    assert looks == [[ASKED], [], []]


def test_a_connection_that_was_gone_is_new_when_it_comes_back() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table(*there))) for there in ([ASKED], [], [], [ASKED])]

    assert looks == [[ASKED], [], [], [ASKED]]


def test_another_connection_between_the_same_ports_is_new() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table(one))) for one in (ANSWERED, ASKED)]

    assert looks == [[ANSWERED], [ASKED]]


def test_without_counts_the_first_answer_is_told_all_the_same() -> None:
    changes = ConnectionChanges()
    unanswered = replace(UNCOUNTED, is_answered=False)

    looks = [list(changes.of(table(one))) for one in (unanswered, unanswered, UNCOUNTED, UNCOUNTED)]

    assert looks == [[unanswered], [], [UNCOUNTED], []]


def test_without_counts_one_that_is_unanswered_again_is_another() -> None:
    changes = ConnectionChanges()
    unanswered = replace(UNCOUNTED, is_answered=False)

    looks = [list(changes.of(table(one))) for one in (UNCOUNTED, unanswered)]

    assert looks == [[UNCOUNTED], [unanswered]]


def test_without_counts_packets_are_told_by_the_time_that_is_left_not_falling() -> None:
    """Each packet puts it up to what the kernel gives the protocol; here in each look, in each ninth, or in one."""
    often = told_over([432_000] * 1_500)
    seldom = told_over(432_000 - 5 * (look % 9) for look in range(1_500))
    once = told_over(432_000 - 5 * (look if look < 300 else look - 300) for look in range(1_500))

    hours = [timedelta(0), TELL_AGAIN, 2 * TELL_AGAIN]
    assert (often, seldom, once) == (hours, hours, hours[:2])


def test_without_counts_a_connection_whose_time_runs_out_is_not_told_again() -> None:
    """Five days are how long the kernel keeps one over which nothing comes any more."""
    assert told_over(range(432_000, 0, -5)) == [timedelta(0)]


def test_without_counts_a_connection_of_the_hardware_goes_on() -> None:
    assert told_over([None] * 800) == [timedelta(0), TELL_AGAIN]


@pytest.mark.parametrize(
    "difference",
    [
        {"sender": ipaddress.ip_address("192.0.2.18")},
        {"receiver": ipaddress.ip_address("2001:db8::9")},
        {"protocol": 6},
        {"sender_port": None},
        {"receiver_port": 124},
        {"icmp_type": 8},
    ],
    ids=str,
)
def test_connections_that_differ_are_told_apart(difference: dict[str, object]) -> None:
    other = replace(ASKED, **difference)  # type: ignore[arg-type]

    told = list(ConnectionChanges().of(table(ASKED, other)))

    assert told == [ASKED, other]


def test_what_is_over_the_bound_is_counted_and_what_is_known_stays_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection_changes, "MAX_CONNECTIONS", 3)
    changes = ConnectionChanges()
    whole = table(*(replace(ASKED, sender_port=port) for port in range(5)))

    first, over = list(changes.of(whole)), changes.over
    second = list(changes.of(reversed(whole)))

    assert (len(first), over) == (3, 2)
    assert second == []
