"""Sizes of conductors, and their resistance."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.conductors import (
    awg_area_m2,
    awg_diameter_m,
    conductor_answer,
    ohm_per_m,
    size_named,
    size_of,
    wire_ohm_per_m,
)
from pattress.model.circuit import Conductors
from pattress.model.errors import CircuitError
from pattress.model.tables import ConductorSize
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")


@of(some.integers(min_value=-3, max_value=39))
def test_a_higher_gauge_is_thinner_and_three_gauges_are_half(gauge: int) -> None:
    assert awg_diameter_m(gauge + 1) < awg_diameter_m(gauge)
    if gauge <= 37:
        assert awg_area_m2(gauge + 3) == pytest.approx(awg_area_m2(gauge) / 2, rel=0.01)


@of(some.floats(min_value=1e-8, max_value=1e-4), some.floats(min_value=-60, max_value=240))
def test_thinner_and_warmer_copper_resists_more(area: float, celsius: float) -> None:
    here = wire_ohm_per_m(area, celsius, IEC)

    assert wire_ohm_per_m(area / 2, celsius, IEC) == pytest.approx(2 * here)
    assert wire_ohm_per_m(area, celsius + 1, IEC) > here > 0


@of(some.sampled_from([*IEC.sizes, *NEC.sizes]), some.floats(min_value=-60, max_value=250))
def test_a_table_is_carried_to_another_temperature_as_copper_is(size: ConductorSize, celsius: float) -> None:
    tables = IEC if size in IEC.sizes else NEC

    here = ohm_per_m(size, tables, temperature_c=celsius).value
    at_20 = ohm_per_m(size, tables, temperature_c=20).value

    assert here / at_20 == pytest.approx(1 + 0.00393 * (celsius - 20))


@pytest.mark.parametrize("written", ["14", "14 AWG", "AWG 14", "awg14", "#14"])
def test_a_gauge_is_found_however_it_is_written(written: str) -> None:
    assert size_named(written, NEC).awg == 14


@pytest.mark.parametrize("written", ["1.5", "1.5 mm2", "1.5mm²", "1.5 mm²", "1.50 MM2"])
def test_an_area_is_found_however_it_is_written(written: str) -> None:
    assert size_named(written, IEC).name == "1.5 mm²"


@pytest.mark.parametrize(
    ("written", "family", "says"),
    [
        ("13", "nec", "no conductor of 13 AWG in the tables of NEC style. Did you mean 12 AWG?"),
        ("1.6", "iec", "no conductor of 1.6 mm² in the tables of IEC style. Did you mean 1.5 mm²?"),
        ("14 AWG", "iec", "no conductor of 14 AWG in the tables of IEC style. Did you mean 2.5 mm²? They have 0.5 mm²"),
        ("2.5 mm2", "nec", "no conductor of 2.5 mm² in the tables of NEC style. Did you mean 14 AWG?"),
        ("thick", "nec", "there is no conductor 'thick'"),
        ("14.5", "nec", "14.5 is no gauge"),
    ],
)
def test_a_size_that_the_tables_lack_is_told_the_nearest(written: str, family: str, says: str) -> None:
    with pytest.raises(CircuitError) as caught:
        size_named(written, NEC if family == "nec" else IEC)

    assert says in str(caught.value)


@pytest.mark.parametrize("conductors", [Conductors(), Conductors(mm2=1.5, awg=14)])
def test_a_conductor_has_one_size(conductors: Conductors) -> None:
    with pytest.raises(CircuitError, match="exactly one"):
        size_of(conductors, IEC)


@pytest.mark.parametrize("written", ["nan", "-1", "inf", "0"])
def test_numbers_that_are_no_area_are_refused(written: str) -> None:
    with pytest.raises(CircuitError):
        size_named(written, IEC)


def test_all_that_the_family_says_of_a_size_is_listed_with_its_source() -> None:
    answer = conductor_answer(size_of(Conductors(awg=12), NEC), NEC, temperature_c=75)

    assert {"area_mm2", "ohm_per_km", "capacity_a", "breaker_a", "box_cm3"} <= answer.values.keys()
    assert answer.values["ohm_per_km"] == pytest.approx(answer.values["formula_ohm_per_km"], rel=0.005)
    assert all(line.source for line in answer.lines)


def test_a_size_without_a_listed_resistance_has_that_of_its_area() -> None:
    size = size_of(Conductors(awg=6), NEC)

    assert ohm_per_m(size, NEC, temperature_c=75).value == pytest.approx(wire_ohm_per_m(awg_area_m2(6), 75, NEC))
