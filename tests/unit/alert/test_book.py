"""What is told at once, what waits for the message of the day, and what only counts."""

import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pattress.alert.book import ELSEWHERE, FORGOTTEN_AFTER, MAX_PLACES, AlertBook, next_daily, place_of
from pattress.model.encounter import Encounter, EncounterKind

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def encounter(kind: EncounterKind = "reached", remote: str = "203.0.113.9", at: datetime = NOON) -> Encounter:
    return Encounter(kind=kind, device="mac:1", remote=remote, first_at=at, last_at=at, octets_out=60, sources=("a",))


@pytest.mark.parametrize("kind", ["reached", "approached"])
def test_the_first_is_told_at_once_and_what_follows_only_counts(kind: EncounterKind) -> None:
    book = AlertBook()

    first = book.take(encounter(kind))
    second = book.take(encounter(kind, at=NOON + timedelta(minutes=5)))
    neighbour = book.take(encounter(kind, remote="203.0.113.200"))
    other = book.take(encounter(kind, remote="198.51.100.1"))

    assert first is not None
    assert (first.told.place, first.told.count, first.told.told_at) == ("203.0.113.0/24", 1, NOON)
    assert (second, neighbour) == (None, None)
    assert other is not None
    [due] = book.daily(NOON + timedelta(hours=19))
    assert (due.place, due.count - due.told_count, due.octets) == ("203.0.113.0/24", 2, 180)
    assert book.daily(NOON + timedelta(hours=43)) == []


@pytest.mark.parametrize("kind", ["tried", "asked"])
def test_what_was_only_tried_is_gathered_into_one_message_a_day_unless_the_site_says_otherwise(
    kind: EncounterKind,
) -> None:
    book, hasty = AlertBook(), AlertBook(tells_tried_at_once=True)

    assert book.take(encounter(kind)) is None
    assert book.take(encounter(kind)) is None
    assert hasty.take(encounter(kind)) is not None
    assert hasty.take(encounter(kind)) is None
    assert [(one.kind, one.count) for one in book.daily(NOON)] == [(kind, 2)]


def test_what_was_tried_before_it_was_reached_keeps_nothing_from_being_told() -> None:
    book = AlertBook()
    book.take(encounter("tried"))

    assert book.take(encounter("reached")) is not None


def test_what_was_told_outlives_a_restart() -> None:
    book = AlertBook()
    book.take(encounter())
    again = AlertBook(book.take_changed())

    assert again.take(encounter(at=NOON + timedelta(days=1))) is None
    assert [one.count for one in again.take_changed()] == [2]
    assert book.take_changed() == []


def test_what_comes_back_after_a_week_of_quiet_is_news() -> None:
    book = AlertBook()
    book.take(encounter())

    assert book.take(encounter(at=NOON + FORGOTTEN_AFTER)) is None
    back = book.take(encounter(at=NOON + 2 * FORGOTTEN_AFTER + timedelta(seconds=1)))
    assert back is not None
    assert (back.told.count, back.told.first_at) == (1, NOON + 2 * FORGOTTEN_AFTER + timedelta(seconds=1))


def test_a_flood_of_places_becomes_one_place() -> None:
    book = AlertBook()

    alerts = [book.take(encounter(remote=f"198.51.{number}.1")) for number in range(MAX_PLACES + 40)]

    assert sum(alert is not None for alert in alerts) == MAX_PLACES + 1
    assert book.take_changed()[-1].place == ELSEWHERE
    assert [one.count - one.told_count for one in book.daily(NOON)] == [39]


def test_places_that_are_long_past_make_room_for_new_ones() -> None:
    book = AlertBook()
    for number in range(MAX_PLACES):
        book.take(encounter(remote=f"198.51.{number}.1"))
    book.daily(NOON + FORGOTTEN_AFTER)
    assert len(book.take_changed()) == MAX_PLACES

    later = NOON + FORGOTTEN_AFTER + timedelta(seconds=1)
    full = book.take(encounter(at=later))
    book.daily(later)
    new = book.take(encounter(remote="192.88.99.1", at=later))

    assert full is not None
    assert full.told.place == ELSEWHERE
    assert new is not None
    assert new.told.place == "192.88.99.0/24"
    assert {one.place for one in book.take_changed()} == {ELSEWHERE, "192.88.99.0/24"}


def test_what_has_no_room_to_be_told_at_once_is_in_the_message_of_the_day_unless_it_comes_again() -> None:
    book = AlertBook()

    assert book.take(encounter(), has_room=False) is None
    assert book.take_unlike("mac:1", "it called 30 hosts", NOON, has_room=False) is None
    assert book.take(encounter(remote="198.51.100.1"), has_room=False) is None
    assert book.take(encounter(remote="198.51.100.1")) is not None
    assert [(one.kind, one.place) for one in book.daily(NOON)] == [
        ("reached", "203.0.113.0/24"),
        ("unlike-before", "inside"),
    ]


def test_a_place_is_a_network_or_a_name() -> None:
    assert place_of(encounter(remote="2001:db8:1:2::9")) == "2001:db8:1::/48"
    assert place_of(replace(encounter(), remote="cloud.example")) == "cloud.example"
    assert place_of(encounter(remote="64:ff9b::203.0.113.9")) == "203.0.113.0/24"
    assert place_of(encounter(remote="::ffff:203.0.113.9")) == "203.0.113.0/24"


@pytest.fixture
def paris(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Europe/Paris")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("paris")
@pytest.mark.parametrize(
    ("after", "next_at"),
    [
        ("2026-03-01T05:59:00+00:00", "2026-03-01T06:00:00+00:00"),
        ("2026-03-01T06:00:00+00:00", "2026-03-02T06:00:00+00:00"),
        ("2026-03-28T12:00:00+00:00", "2026-03-29T05:00:00+00:00"),  # the night in which clocks go forward
        ("2026-10-24T12:00:00+00:00", "2026-10-25T06:00:00+00:00"),  # and back (Directive 2000/84/EC)
    ],
)
def test_the_message_of_the_day_comes_at_seven_whatever_the_clocks_did(after: str, next_at: str) -> None:
    assert next_daily(datetime.fromisoformat(after)) == datetime.fromisoformat(next_at)
