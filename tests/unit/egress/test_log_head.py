"""The moment that the head of a log line tells."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from pattress.egress.log_head import moment_of, split_head

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def moment(stamp: str, now: datetime = NOON) -> datetime | None:
    found = split_head(f"{stamp} router kernel: dropped").stamp
    assert found is not None
    return moment_of(found, now)


@pytest.mark.parametrize(
    "stamp",
    [
        "Nov 25 09:06:15",
        "Nov 25 2026 09:06:15",
        "Nov 25 09:06:15.000",
        "Wed Nov 25 09:06:15 2026",
        "2026-11-25T09:06:15Z",
        "2026-11-25T10:06:15.000000+01:00",
        "2026-11-25T10:06:15+0100",
    ],
)
def test_a_time_is_told_however_it_is_written(stamp: str) -> None:
    assert moment(stamp) == datetime(2026, 11, 25, 9, 6, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("stamp", "now", "expected"),
    [
        ("Dec 31 23:59:58", (2027, 1, 1, 0, 0, 2), (2026, 12, 31, 23, 59, 58)),
        ("Jan  1 00:00:02", (2026, 12, 31, 23, 59, 58), (2027, 1, 1, 0, 0, 2)),
        ("Jan  1 00:00:02", (2026, 12, 29, 0, 0, 0), (2026, 1, 1, 0, 0, 2)),
        ("Nov 26 11:00:00", (2026, 11, 25, 12, 0, 0), (2026, 11, 26, 11, 0, 0)),
        ("Nov 26 13:00:00", (2026, 11, 25, 12, 0, 0), (2025, 11, 26, 13, 0, 0)),
        ("Feb 29 12:00:00", (2027, 3, 1, 0, 0, 0), (2024, 2, 29, 12, 0, 0)),
        ("Feb 29 12:00:00", (2103, 3, 1, 0, 0, 0), (2096, 2, 29, 12, 0, 0)),
    ],
    ids=["last year", "next year", "too far ahead", "clock ahead", "a year ago", "leap day", "leap day of a century"],
)
def test_the_year_that_a_line_leaves_out_is_the_latest_that_can_be(
    stamp: str, now: tuple[int, ...], expected: tuple[int, ...]
) -> None:
    found = moment(stamp, datetime(*now, tzinfo=UTC))  # type: ignore[misc]

    assert found == datetime(*expected, tzinfo=UTC)  # type: ignore[misc]


def test_a_time_without_a_zone_is_in_the_zone_of_now() -> None:
    zone = timezone(timedelta(hours=5, minutes=45))

    found = moment("Nov 25 09:06:15", NOON.astimezone(zone))

    assert found == datetime(2026, 11, 25, 9, 6, 15, tzinfo=zone)


@pytest.mark.parametrize("stamp", ["Feb 30 12:00:00", "Nov 25 24:00:00", "Nov 00 12:00:00", "2026-13-01T00:00:00Z"])
def test_a_day_or_an_hour_that_does_not_exist_is_no_time(stamp: str) -> None:
    assert moment(stamp) is None
