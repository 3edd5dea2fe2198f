"""Loss of radio paths against tables.

Free space: 20 log10 d + 20 log10 f - 147.55 dB, from 20 log10(4 pi / c) with c = 299 792 458 m/s (exact, SI); ITU-R
P.525. The table at 2437 MHz (channel 6 of IEEE 802.11) is printed to 0.01 dB. Indoors: ITU-R P.1238.
"""

import math

import pytest
from scipy.constants import speed_of_light

from pattress.circuit.radio import SPEED_OF_LIGHT_M_PER_S, free_space_loss_db, indoor_loss_db

CHANNEL_6_HZ = 2437e6
FREE_SPACE = [(1, 40.19), (5, 54.17), (10, 60.19), (20, 66.21), (30, 69.73), (100, 80.19)]


@pytest.mark.parametrize(("distance_m", "loss_db"), FREE_SPACE)
def test_free_space_loss_is_that_of_the_table(distance_m: float, loss_db: float) -> None:
    assert free_space_loss_db(distance_m, CHANNEL_6_HZ) == pytest.approx(loss_db, abs=0.01)


def test_the_constant_is_147_55_db() -> None:
    assert free_space_loss_db(1, 1) == pytest.approx(-147.5522, abs=5e-5)
    assert speed_of_light == SPEED_OF_LIGHT_M_PER_S


@pytest.mark.parametrize("distance_m", [0.5, 3, 70])
def test_twice_the_distance_is_6_02_db_more(distance_m: float) -> None:
    more = free_space_loss_db(2 * distance_m, CHANNEL_6_HZ) - free_space_loss_db(distance_m, CHANNEL_6_HZ)

    assert more == pytest.approx(6.02, abs=0.005)


@pytest.mark.parametrize("distance_m", [1, 10, 100])
def test_indoors_with_a_coefficient_of_20_it_is_free_space_to_half_a_decibel(distance_m: float) -> None:
    """P.1238's constant 28 stands for 27.55 (147.55 dB at hertz less 120 dB to megahertz)."""
    indoors = indoor_loss_db(distance_m, CHANNEL_6_HZ, distance_coefficient=20)

    assert free_space_loss_db(distance_m, CHANNEL_6_HZ) - indoors == pytest.approx(0.45, abs=0.01)


def test_indoor_loss_worked_by_hand() -> None:
    """20 log10 2437 = 67.737; 30 log10 10 = 30; a floor of 15 dB; less 28: 84.737 dB. Derived from P.1238."""
    loss = indoor_loss_db(10, CHANNEL_6_HZ, distance_coefficient=30, floors_db=15)

    assert loss == pytest.approx(20 * math.log10(2437) + 30 + 15 - 28)
    assert loss == pytest.approx(84.737, abs=0.001)
