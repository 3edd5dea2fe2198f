"""What goes into a column comes out as what it was."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.store.encoding import (
    is_numeric_measurement,
    kept_text,
    kept_value,
    milliseconds,
    moment_of,
    packed,
    unpacked,
    value_of,
)

moments = st.datetimes(min_value=datetime(1900, 1, 1), max_value=datetime(2200, 1, 1), timezones=st.just(UTC))
finite = st.floats(allow_nan=False, allow_infinity=False)
int64 = st.integers(-(2**63), 2**63 - 1)


@given(moments)
def test_a_moment_comes_back_to_the_millisecond(moment: datetime) -> None:
    back = moment_of(milliseconds(moment))

    assert timedelta(0) <= moment - back < timedelta(milliseconds=1)
    assert back.tzinfo is UTC


def test_a_moment_of_another_zone_comes_back_in_utc() -> None:
    moment = datetime(2026, 7, 1, 14, 0, tzinfo=timezone(timedelta(hours=2)))

    assert moment_of(milliseconds(moment)) == datetime(2026, 7, 1, 12, 0, tzinfo=UTC)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        milliseconds(datetime(2026, 7, 1, 14, 0))


@given(st.booleans() | int64 | finite | st.text(max_size=512))
def test_a_value_comes_back_with_its_type(value: bool | int | float | str) -> None:
    back = value_of(*kept_value(value))

    assert type(back) is type(value)
    assert back == value.encode("utf-8", "replace").decode() if isinstance(value, str) else back == value


def test_true_one_one_point_nought_and_the_text_one_are_four_values() -> None:
    kept = [kept_value(value) for value in (True, 1, 1.0, "1")]

    assert len(set(kept)) == 4


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**63, -(2**63) - 1])
def test_a_number_that_sqlite_cannot_hold_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="kept"):
        kept_value(value)


@given(st.dictionaries(st.sampled_from([f"meter.{n}.power_w" for n in range(1, 9)]), int64 | finite))
def test_measurements_come_back_as_they_were(measured: dict[str, int | float]) -> None:
    layout, numbers = packed(measured, ())

    back = unpacked(layout, numbers)

    assert back == measured
    assert {name: type(number) for name, number in back.items()} == {
        name: type(number) for name, number in measured.items()
    }


def test_a_measurement_that_is_missing_this_time_makes_no_new_layout() -> None:
    layout, _ = packed({"net.rssi_dbm": -60, "meter.1.power_w": 1.5}, ())

    again, numbers = packed({"net.rssi_dbm": -61}, layout)

    assert again == layout
    assert unpacked(again, numbers) == {"net.rssi_dbm": -61}


def test_a_measurement_that_is_new_widens_the_layout() -> None:
    wider, numbers = packed({"meter.1.power_w": 2.0}, ("net.rssi_dbm",))

    assert wider == ("meter.1.power_w", "net.rssi_dbm")
    assert unpacked(wider, numbers) == {"meter.1.power_w": 2.0}


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("net.rssi_dbm", -60, True),
        ("meter.2.power_w", 41.7, True),
        ("health.restarts", 3, True),
        ("output.1.on", True, False),
        ("net.rssi_dbm", True, False),
        ("mqtt.port", 1883, False),
        ("not.in_the_vocabulary", 3, False),
    ],
)
def test_only_numbers_that_are_measured_go_into_the_reading(name: str, value: float, expected: bool) -> None:
    assert is_numeric_measurement(name, value) is expected


def test_a_text_that_is_too_long_is_cut_and_stays_itself() -> None:
    one, other = kept_text("a" * 600), kept_text("a" * 599 + "b")

    assert len(one) == len(other) == 512
    assert one != other
    assert kept_text(one) == one


def test_a_lone_surrogate_is_shown_as_a_question_mark() -> None:
    assert kept_text("hall\ud800") == "hall?"
