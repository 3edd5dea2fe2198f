"""The clock of a device, by the one time that it reports in an answer."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.vocabulary import ValueMismatchError
from pattress.reading.clock import (
    MAX_DELAY_S,
    Exchange,
    measured_offset_s,
    offset_s,
    reported_time_s,
)

NOON_S = datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()


def test_a_clock_that_is_right_in_the_middle_of_the_way_has_no_offset() -> None:
    assert offset_s(100.0, 100.2, 100.4) == pytest.approx(0.0)


@given(
    offset=st.floats(-1e6, 1e6),
    out_s=st.floats(0, 1),
    back_s=st.floats(0, 1),
)
def test_the_true_offset_is_within_half_the_delay_of_the_measured_one(
    offset: float, out_s: float, back_s: float
) -> None:
    measured = offset_s(NOON_S, NOON_S + out_s + offset, NOON_S + out_s + back_s)

    assert abs(measured - offset) <= (out_s + back_s) / 2 + 1e-5


def test_an_offset_is_told_to_the_millisecond() -> None:
    assert measured_offset_s(NOON_S + 3600.00049, Exchange(NOON_S, NOON_S + 0.0001)) == 3600.0


@pytest.mark.parametrize("took_s", [MAX_DELAY_S + 0.1, -0.1])
def test_an_answer_that_took_too_long_or_came_before_its_question_measures_nothing(took_s: float) -> None:
    with pytest.raises(ValueMismatchError, match=r"an answer within 2 s: a clock cannot be measured by a slower one"):
        measured_offset_s(NOON_S, Exchange(NOON_S, NOON_S + took_s))


def test_without_the_times_of_question_and_answer_nothing_is_measured() -> None:
    with pytest.raises(ValueMismatchError, match="the times of question and answer"):
        measured_offset_s(NOON_S, None)


@pytest.mark.parametrize(
    ("raw", "form", "scale", "expected"),
    [
        (1_795_608_000, "unix", None, 1_795_608_000.0),
        (1_795_608_000_500, "unix", 0.001, 1_795_608_000.5),
        (0, "unix", None, 0.0),
        ("2026-11-25T12:00:00Z", "iso", None, NOON_S),
        ("2026-11-25T13:00:00.250+01:00", "iso", None, NOON_S + 0.25),
        (" 2026-11-25 12:00:00+00:00 ", "iso", None, NOON_S),
    ],
)
def test_a_time_is_understood(raw: object, form: str, scale: float | None, expected: float) -> None:
    assert reported_time_s(raw, form, scale) == pytest.approx(expected)  # type: ignore[arg-type]


@pytest.mark.parametrize("raw", [-1, True, "1795608000", None, float("nan"), float("inf"), 1e300, 10**400, [1]])
def test_what_is_no_number_of_seconds_is_named(raw: object) -> None:
    with pytest.raises(ValueMismatchError, match="expected a number of seconds since 1970"):
        reported_time_s(raw, "unix", None)


@pytest.mark.parametrize(
    "raw", ["2026-11-25T12:00:00", "noon", "", 1_795_608_000, None, "2026-13-01T00:00:00Z", "2026-11-25T12:00:00Z" * 99]
)
def test_text_that_is_no_time_or_of_an_unknown_zone_is_named(raw: object) -> None:
    with pytest.raises(ValueMismatchError, match="expected a date and time with its offset from UTC"):
        reported_time_s(raw, "iso", None)
