"""What is new in a connection table from look to look."""

import ipaddress
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pattress.egress import connection_changes
from pattress.egress.connection_changes import TELL_AGAIN, ConnectionChanges
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


def later(traffic: Traffic, by: timedelta) -> Traffic:
    return replace(traffic, at=NOON + by)


def test_a_connection_is_told_once_as_long_as_nothing_changes() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of([ASKED])) for _ in range(3)]

    assert looks == [[ASKED], [], []]


def test_the_first_answer_is_told_with_what_came_since() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of([one])) for one in (ASKED, ANSWERED, ANSWERED)]

    since = replace(ANSWERED, packets=2, octets=152)
    assert looks == [[ASKED], [since], []]


def test_a_connection_that_goes_on_for_hours_is_told_again_with_what_came_since() -> None:
    changes = ConnectionChanges()
    table = [later(replace(ANSWERED, packets=3 + minute), timedelta(minutes=minute)) for minute in range(121)]

    told = [one for now in table for one in changes.of([now])]

    assert [one.at - NOON for one in told] == [timedelta(0), TELL_AGAIN, 2 * TELL_AGAIN]
    assert sum(one.packets for one in told) == table[-1].packets


def test_a_connection_without_traffic_is_not_told_again() -> None:
    changes = ConnectionChanges()
    list(changes.of([ANSWERED]))

    told = list(changes.of([later(ANSWERED, timedelta(days=3))]))

    assert told == []


def test_a_connection_that_a_look_left_out_is_not_new_in_the_next() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table)) for table in ([ASKED], [], [ASKED])]

    assert looks == [[ASKED], [], []]


def test_a_connection_that_was_gone_is_new_when_it_comes_back() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of(table)) for table in ([ASKED], [], [], [ASKED])]

    assert looks == [[ASKED], [], [], [ASKED]]


def test_another_connection_between_the_same_ports_is_new() -> None:
    changes = ConnectionChanges()

    looks = [list(changes.of([one])) for one in (ANSWERED, ASKED)]

    assert looks == [[ANSWERED], [ASKED]]


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

    told = list(ConnectionChanges().of([ASKED, other]))

    assert told == [ASKED, other]


def test_what_is_over_the_bound_is_counted_and_what_is_known_stays_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection_changes, "MAX_CONNECTIONS", 3)
    changes = ConnectionChanges()
    table = [replace(ASKED, sender_port=port) for port in range(5)]

    first, over = list(changes.of(table)), changes.over
    second = list(changes.of(reversed(table)))

    assert (len(first), over) == (3, 2)
    assert second == []
