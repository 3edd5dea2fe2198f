"""The arithmetic of a time exchange against worked numbers.

Source: RFC 5905 section 8 and RFC 4330 section 5, theta = ((T2 - T1) + (T3 - T4)) / 2 and
delta = (T4 - T1) - (T3 - T2). The numbers of the first two rows are derived from these by hand.
"""

import pytest

from pattress.reading.clock import clock_offset_s, offset_s, round_trip_s

WORKED = [
    # T1, T2, T3, T4, theta, delta
    (100.000, 100.560, 100.570, 100.150, 0.490, 0.140),
    (0.0, 5.000, 5.001, 0.041, 4.980, 0.040),
]


@pytest.mark.parametrize(("t1", "t2", "t3", "t4", "theta", "delta"), WORKED)
def test_offset_and_delay_are_those_worked_by_hand(
    t1: float, t2: float, t3: float, t4: float, theta: float, delta: float
) -> None:
    assert clock_offset_s(t1, t2, t3, t4) == pytest.approx(theta, abs=1e-9)
    assert round_trip_s(t1, t2, t3, t4) == pytest.approx(delta, abs=1e-9)


@pytest.mark.parametrize(("t1", "t2", "t3", "t4", "theta", "_delta"), WORKED)
def test_the_one_time_of_a_device_stands_for_both_of_a_server(
    t1: float, t2: float, t3: float, t4: float, theta: float, _delta: float
) -> None:
    """T2 = T3: their middle gives the same offset, since the formula takes their sum."""
    assert offset_s(t1, (t2 + t3) / 2, t4) == pytest.approx(theta, abs=1e-9)


def test_an_apparent_delay_below_zero_is_none() -> None:
    """RFC 5905 section 8: at 100 ppm apart, over 64 s, the delay comes out 6.4 ms below zero, and is clamped."""
    drift_s = 64 * 100e-6

    assert (64.0 - 0.0) - (64.0 + drift_s) == pytest.approx(-0.0064)
    assert round_trip_s(0.0, 0.0, 64.0 + drift_s, 64.0) == 0.0
