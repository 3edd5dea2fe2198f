"""Numbers that cannot be are told in words, with what to do."""

import math

import pytest

from pattress.circuit import given
from pattress.model.errors import CircuitError, PattressError


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf, -math.inf, 1e10, True, "5"])
def test_what_is_not_above_nought_is_no_positive_number(value: float) -> None:
    with pytest.raises(CircuitError) as caught:
        given.positive(value, "voltage", "V")

    assert caught.value.where == "voltage"
    assert caught.value.next_step.startswith("Give ")


def test_an_error_is_one_of_ours_and_of_values() -> None:
    with pytest.raises(CircuitError, match=r"^voltage: -230 cannot be\. Give a number above 0 in V\.$") as caught:
        given.positive(-230, "voltage", "V")

    assert isinstance(caught.value, ValueError)
    assert isinstance(caught.value, PattressError)


def test_nought_is_no_negative_number() -> None:
    assert given.not_negative(0, "current", "A") == 0
    with pytest.raises(CircuitError):
        given.not_negative(-1e-12, "current", "A")


@pytest.mark.parametrize(("value", "hint"), [(90, "Write 0.9 for 90 %."), (0, "0.001 to 1"), (250, "0.001 to 1")])
def test_a_share_written_in_percent_is_recognised(value: float, hint: str) -> None:
    with pytest.raises(CircuitError) as caught:
        given.share(value, "power factor")

    assert hint in caught.value.next_step


@pytest.mark.parametrize("value", [0, -3, 1.5, True, 10_001])
def test_a_count_is_whole_and_not_endless(value: int) -> None:
    with pytest.raises(CircuitError):
        given.whole(value, "count")


@pytest.mark.parametrize("value", [-61, 251, math.nan])
def test_a_temperature_is_one_that_conductors_have(value: float) -> None:
    with pytest.raises(CircuitError):
        given.temperature(value, "temperature")


def test_a_word_that_is_none_of_the_choices_is_told_the_nearest() -> None:
    with pytest.raises(CircuitError, match="Did you mean lighting") as caught:
        given.one_of("lightning", "use", ("lighting", "other"))

    assert caught.value.next_step.endswith("Use one of: lighting, other.")


def test_only_one_and_three_phases_are_known() -> None:
    assert [given.phases(1), given.phases(3)] == [1, 3]
    with pytest.raises(CircuitError):
        given.phases(2)
