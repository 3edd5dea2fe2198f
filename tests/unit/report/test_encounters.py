"""Encounters for people: the message of the day, and how well the sources were heard."""

from datetime import UTC, datetime, timedelta

from pattress.model.encounter import Hearing, Told
from pattress.report.encounters import NOTHING_HEARD, daily_text, hearings_text
from pattress.report.text import Style

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def hearing(hours_ago: int, heard: int) -> Hearing:
    return Hearing(source="router", hour=NOON - timedelta(hours=hours_ago), listened_s=3600.0, heard=heard)


def told(place: str, count: int, told_count: int = 0) -> tuple[Told, str]:
    one = Told(
        device="mac:02:00:5e:00:53:07", kind="tried", place=place, first_at=NOON, last_at=NOON, count=count,
        told_count=told_count,
    )  # fmt: skip
    return one, "hall-lights (Hall)"


def test_the_message_of_the_day_counts_what_is_new_and_says_a_device_once() -> None:
    one = daily_text([told("203.0.113.0/24", 1)], Style())
    two = daily_text([told("203.0.113.0/24", 9, 4), told("192.0.0.0/24", 1)], Style())

    assert one.startswith("SINCE THE LAST MESSAGE: 1 kind of encounters\n")
    assert two.startswith("SINCE THE LAST MESSAGE: 2 kinds of encounters\n")
    assert two.count("hall-lights (Hall)") == 1
    assert "tried to get outside: 203.0.113.0/24, 5 times," in two


def test_what_was_heard_is_added_up_and_silent_hours_are_counted() -> None:
    assert hearings_text([hearing(1, 40), hearing(2, 0), hearing(3, 2)], Style()) == (
        "  router: 42 heard, 1 hour silent\n"
    )
    assert "2 hours silent" in hearings_text([hearing(1, 40), hearing(2, 0), hearing(3, 0)], Style())


def test_where_nothing_was_heard_that_is_said() -> None:
    assert hearings_text([], Style()) == f"{NOTHING_HEARD}\n"
    assert hearings_text([hearing(1, 0)], Style()) == f"  router: 1 hour silent\n{NOTHING_HEARD}\n"
