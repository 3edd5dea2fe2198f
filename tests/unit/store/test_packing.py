"""What is packed comes out as it went in, to the last bit and type."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.store.packing import Number, Taken, pack, unpack

NAMES = ("health.uptime_s", "meter.1.power_w", "net.rssi_dbm")
NUMBERS: st.SearchStrategy[Number] = (
    st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.decimals(-1000, 1000, places=2).map(float)
    | st.sampled_from([0, 0.0, -0.0, 1, 1.0, 0.1, 1e-300, 2**53 + 1])
)
READINGS = st.lists(
    st.builds(
        Taken,
        taken_at_ms=st.integers(-(2**40), 2**42),
        run=st.integers(1, 2**31),
        is_read=st.booleans(),
        reason=st.none() | st.text(max_size=5),
        measured=st.dictionaries(st.sampled_from(NAMES), NUMBERS),
    ),
    max_size=12,
)


def exactly(readings: list[Taken]) -> list[tuple[object, ...]]:
    """Readings so that 1, 1.0 and -0.0 are told apart."""
    return [
        (one.taken_at_ms, one.run, one.is_read, one.reason, sorted((name, repr(x)) for name, x in one.measured.items()))
        for one in readings
    ]


@given(READINGS)
def test_what_is_packed_comes_out_as_it_went_in(readings: list[Taken]) -> None:
    assert exactly(unpack(pack(readings, NAMES), NAMES)) == exactly(readings)


@pytest.mark.parametrize(
    "column",
    [
        [0, 41.7, 0, 41.25],  # as devices write it: nothing is a whole number, something is not
        [230.1, 230.2, None, 229.9],
        [0.1 + 0.2, 0.3],  # two numbers that look alike and are not
        [1e22, 1e-7, 5],
        [2**63 - 1, -(2**63), 0.5],
        [None, None],
    ],
)
def test_columns_of_every_sort_come_out_exactly(column: list[Number | None]) -> None:
    readings = [
        Taken(taken_at_ms=index, run=1, is_read=True, reason=None, measured={} if one is None else {NAMES[1]: one})
        for index, one in enumerate(column)
    ]

    assert exactly(unpack(pack(readings, NAMES), NAMES)) == exactly(readings)


def test_a_day_of_five_minute_readings_takes_less_than_a_third_of_its_rows() -> None:
    numbers = random.Random(20260101)
    power_w, readings = 40.0, []
    for step in range(288):
        power_w = round(max(0.0, power_w + numbers.gauss(0, 1.5)), 1)
        measured = {NAMES[0]: 300 * step, NAMES[1]: power_w, NAMES[2]: -60 + numbers.randrange(-3, 4)}
        readings.append(Taken(taken_at_ms=300_000 * step, run=7, is_read=True, reason=None, measured=measured))

    as_rows = sum(len(f"[{','.join(map(str, one.measured.values()))}]") + 20 for one in readings)

    assert len(pack(readings, NAMES)) < as_rows / 3
