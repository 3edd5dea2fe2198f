"""Drops along runs."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.conductors import size_of
from pattress.circuit.voltage_drop import SPREADS, Spread, drop_answer, drop_v, longest_m, run_answer
from pattress.model.circuit import Conductors
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")
AMPERES = some.floats(min_value=0.01, max_value=100)
METRES = some.floats(min_value=0.1, max_value=500)
OHMS = some.floats(min_value=1e-4, max_value=0.1)
THIN, THICK = (size_of(Conductors(mm2=mm2), IEC) for mm2 in (1.5, 2.5))


@of(AMPERES, METRES, OHMS, some.sampled_from(SPREADS))
def test_a_drop_grows_with_current_length_and_resistance(
    amperes: float, metres: float, ohms: float, spread: Spread
) -> None:
    here = drop_v(amperes, metres, ohms, spread=spread)

    assert drop_v(amperes * 1.01, metres, ohms, spread=spread) > here
    assert drop_v(amperes, metres * 1.01, ohms, spread=spread) > here
    assert drop_v(amperes, metres, ohms * 1.01, spread=spread) > here
    assert here <= drop_v(amperes, metres, ohms)


@of(AMPERES, OHMS, some.floats(min_value=0.1, max_value=50), some.sampled_from(SPREADS), some.sampled_from([1, 3]))
def test_the_longest_run_drops_just_what_is_allowed(
    amperes: float, ohms: float, allowed: float, spread: Spread, phases: int
) -> None:
    longest = longest_m(amperes, allowed, ohms, phases=phases, spread=spread)

    assert drop_v(amperes, min(longest, 1e9), ohms, phases=phases, spread=spread) == pytest.approx(allowed)


@of(AMPERES, METRES)
def test_a_thicker_conductor_drops_less(amperes: float, metres: float) -> None:
    thin = drop_answer(amperes, metres, THIN, 230, IEC).values["drop_v"]
    thick = drop_answer(amperes, metres, THICK, 230, IEC).values["drop_v"]

    assert thick < thin


@of(AMPERES, METRES)
def test_a_run_that_fits_is_no_longer_than_the_longest(amperes: float, metres: float) -> None:
    answer = drop_answer(amperes, metres, THIN, 230, IEC)

    assert (answer.verdict == "fits") == (metres <= answer.values["longest_m"] * (1 + 1e-9))
    assert run_answer(amperes, THIN, 230, IEC).values["longest_m"] == pytest.approx(answer.values["longest_m"])


def test_the_answer_says_what_is_allowed_and_how_far_it_reaches() -> None:
    answer = drop_answer(16, 18, THICK, 230, IEC, use="other")

    assert answer.sentence == (
        "16 A over 18 m of 2.5 mm² drop 5.184 V (2.25 %); 11.5 V (5 %) are allowed. The longest run is 39.93 m."
    )


def test_the_published_drop_counts_where_it_is_the_larger() -> None:
    # BS 7671 Appendix 4: 18 mV/A/m for 2.5 mm²: 16 A x 40.2 m x 18 mV = 11.58 V, and 5 % of 230 V is 11.5 V; 8.866 Ω/km
    # at 70 °C by IEC 60228 come to 11.41 V.
    by_table = drop_answer(16, 40.2, THICK, 230, IEC, use="other")
    in_a_conductor_as_warm = drop_answer(16, 40.2, THICK, 230, IEC, use="other", temperature_c=70)

    assert (by_table.verdict, by_table.values["drop_v"]) == ("unfit", pytest.approx(11.5776))
    assert (in_a_conductor_as_warm.verdict, in_a_conductor_as_warm.values["drop_v"]) == (
        "fits",
        pytest.approx(11.405, rel=1e-4),
    )


def test_a_limit_of_ones_own_counts_before_the_tables() -> None:
    answer = drop_answer(10, 30, THIN, 230, IEC, allowed=0.01)

    assert answer.values["allowed_v"] == pytest.approx(2.3)
    assert answer.verdict == "unfit"


def test_percent_in_the_place_of_a_share_are_recognised() -> None:
    with pytest.raises(CircuitError, match=r"Write 0\.03 for 3 %"):
        drop_answer(10, 30, THIN, 230, IEC, allowed=3)


def test_a_warm_conductor_drops_more() -> None:
    cold = drop_answer(10, 30, THIN, 230, IEC, temperature_c=20)
    warm = drop_answer(10, 30, THIN, 230, IEC, temperature_c=70)

    assert warm.values["drop_v"] / cold.values["drop_v"] == pytest.approx(1 + 0.00393 * 50)


def test_no_current_drops_nothing_and_has_no_longest_run() -> None:
    answer = drop_answer(0, 30, THIN, 230, IEC)

    assert answer.values["drop_v"] == 0
    assert "longest_m" not in answer.values
    with pytest.raises(CircuitError, match="current"):
        run_answer(0, THIN, 230, IEC)


def test_a_use_that_is_none_is_told_the_nearest() -> None:
    with pytest.raises(CircuitError, match="Did you mean lighting"):
        drop_answer(1, 1, THIN, 230, IEC, use="lightning")  # type: ignore[arg-type]
