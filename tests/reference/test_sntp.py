"""The arithmetic of a time exchange against worked numbers.

Source: RFC 5905 section 8 and RFC 4330 section 5, theta = ((T2 - T1) + (T3 - T4)) / 2. The numbers are derived from
it by hand.
"""

import pytest

from pattress.reading.clock import clock_offset_s, offset_s

WORKED = [
    # T1, T2, T3, T4, theta
    (100.000, 100.560, 100.570, 100.150, 0.490),
    (0.0, 5.000, 5.001, 0.041, 4.980),
]


@pytest.mark.parametrize(("t1", "t2", "t3", "t4", "theta"), WORKED)
def test_the_offset_is_that_worked_by_hand(t1: float, t2: float, t3: float, t4: float, theta: float) -> None:
    assert clock_offset_s(t1, t2, t3, t4) == pytest.approx(theta, abs=1e-9)


@pytest.mark.parametrize(("t1", "t2", "t3", "t4", "theta"), WORKED)
def test_the_one_time_of_a_device_stands_for_both_of_a_server(
    t1: float, t2: float, t3: float, t4: float, theta: float
) -> None:
    """T2 = T3: their middle gives the same offset, since the formula takes their sum."""
    assert offset_s(t1, (t2 + t3) / 2, t4) == pytest.approx(theta, abs=1e-9)
