"""Room in boxes."""

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.box_fill import CM3_PER_IN3, box_answer
from pattress.model.circuit import Box, Conductors
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
NEC = shipped_tables("nec")
TWO_CABLES = (Conductors(awg=12, count=4, grounds=2),)


def in3(value: float) -> float:
    return value * CM3_PER_IN3


def test_a_module_takes_its_own_volume() -> None:
    with_it = box_answer(Box(volume_cm3=in3(20), conductors=TWO_CABLES, clamps=1, yokes=1, module_cm3=40), NEC)
    without = box_answer(Box(volume_cm3=in3(20), conductors=TWO_CABLES, clamps=1, yokes=1), NEC)

    assert (with_it.verdict, without.verdict) == ("unfit", "fits")
    assert with_it.values["needed_cm3"] - without.values["needed_cm3"] == pytest.approx(40)
    assert any("was not counted" in caution for caution in without.cautions)
    assert "project rule" in with_it.lines[-2].source


def test_clamps_and_yokes_count_by_the_largest_conductor() -> None:
    mixed = Box(
        volume_cm3=in3(30),
        conductors=(Conductors(awg=14, count=3, grounds=1), Conductors(awg=10, count=2)),
        clamps=2,
        yokes=1,
        fittings=1,
    )

    answer = box_answer(mixed, NEC)

    by_hand = 3 * 2.00 + 2 * 2.50 + 1 * 2.50 + 1 * 2.50 + 2 * 2.50 + 1 * 2.00  # in3: clamps, fitting, yoke; ground 14
    assert answer.values["needed_cm3"] == pytest.approx(in3(by_hand))


def test_what_is_missing_is_said_in_both_units() -> None:
    answer = box_answer(Box(volume_cm3=in3(16), conductors=TWO_CABLES, clamps=1, yokes=1), NEC)

    assert answer.verdict == "unfit"
    assert answer.sentence == (
        "The box needs 295 cm³ (18.00 in³) of its 262.2 cm³ (16.00 in³); 32.77 cm³ (2.00 in³) are missing."
    )


def test_a_family_without_a_rule_for_boxes_does_not_judge() -> None:
    box = Box(volume_cm3=100, conductors=(Conductors(mm2=1.5, count=4),), module_cm3=40)

    answer = box_answer(box, IEC)

    assert answer.verdict == "undecided"
    assert answer.values["free_cm3"] == pytest.approx(60)


def test_a_module_larger_than_the_box_never_fits() -> None:
    box = Box(volume_cm3=30, conductors=(Conductors(mm2=1.5, count=4),), module_cm3=40)

    assert box_answer(box, IEC).verdict == "unfit"


def test_a_box_whose_conductors_are_not_said_is_not_judged() -> None:
    alone = [box_answer(Box(volume_cm3=60, module_cm3=26), tables) for tables in (NEC, IEC)]
    none_of_them = box_answer(Box(volume_cm3=60, conductors=(Conductors(awg=12),), module_cm3=26), NEC)

    assert [answer.verdict for answer in (*alone, none_of_them)] == ["undecided"] * 3
    assert "no conductor was named" in alone[0].sentence


def test_an_empty_box_is_no_question() -> None:
    with pytest.raises(CircuitError, match="nothing is in the box"):
        box_answer(Box(volume_cm3=300), NEC)


@pytest.mark.parametrize(
    "box",
    [
        Box(volume_cm3=0, conductors=TWO_CABLES),
        Box(volume_cm3=float("nan"), conductors=TWO_CABLES),
        Box(volume_cm3=300, conductors=(Conductors(awg=12, count=-1),)),
        Box(volume_cm3=300, conductors=(Conductors(awg=12, count=201),)),
        Box(volume_cm3=300, conductors=TWO_CABLES, clamps=-1),
        Box(volume_cm3=300, conductors=TWO_CABLES, module_cm3=-5),
        Box(volume_cm3=300, conductors=(Conductors(awg=13, count=1),)),
    ],
)
def test_numbers_that_cannot_be_are_refused(box: Box) -> None:
    with pytest.raises(CircuitError):
        box_answer(box, NEC)


@of(
    some.sampled_from([18, 16, 14, 12, 10, 8, 6]),
    some.integers(min_value=1, max_value=20),
    some.integers(min_value=0, max_value=12),
    some.integers(min_value=0, max_value=3),
    some.integers(min_value=0, max_value=3),
)
def test_more_in_a_box_never_needs_less(awg: int, count: int, grounds: int, clamps: int, yokes: int) -> None:
    def needed(**more: int) -> float:
        pieces = {"count": count, "grounds": grounds, "clamps": clamps, "yokes": yokes} | more
        conductors = (Conductors(awg=awg, count=pieces["count"], grounds=pieces["grounds"]),)
        box = Box(volume_cm3=500, conductors=conductors, clamps=pieces["clamps"], yokes=pieces["yokes"])
        return box_answer(box, NEC).values["needed_cm3"]

    here = needed()

    assert needed(count=count + 1) > here
    assert needed(grounds=grounds + 1) >= here
    assert needed(clamps=clamps + 1) >= here
    assert needed(yokes=yokes + 1) > here
