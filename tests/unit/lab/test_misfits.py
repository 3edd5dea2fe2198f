"""The plan of the house suits its modules, and each misfit that can be planted in it is found with its numbers."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pytest

from pattress.lab.circuits import larkspur_wiring
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.misfits import ALL_MISFITS, MISFITS, Misfit, wiring_with
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site
from pattress.lab.wiring import Wiring
from pattress.model.errors import UsageError
from pattress.policy.fitness import PointFitness, judge_points
from pattress.site.load import load_site

TODAY = date(2031, 5, 6)
WHERE = Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883))
MODULES = {module.title: module for module in larkspur_mill(WHERE)}


def judged(wiring: Mapping[str, Wiring], folder: Path) -> dict[str, PointFitness]:
    """The fitness of every point of the house whose plan says this, by its files; the house itself does not run."""
    house = EmulatedHouse(ground=MILL_GROUND, wiring=wiring)
    house.broker, house.modules = WHERE.broker, MODULES
    site = load_site(write_site(house, folder, today=TODAY), today=TODAY)
    return {one.point.name: one for one in judge_points(site, site.plan.points, today=TODAY)}


def not_met(points: Mapping[str, PointFitness]) -> set[tuple[str, str, str]]:
    return {
        (name, finding.rule.id, finding.outcome)
        for name, one in points.items()
        for finding in one.findings
        if finding.outcome != "met"
    }


def test_every_point_of_the_house_is_wired_and_suits_its_module(tmp_path: Path) -> None:
    points = judged(larkspur_wiring(), tmp_path)

    assert points.keys() == MODULES.keys() == larkspur_wiring().keys()
    assert not_met(points) == set()
    assert all(len(one.findings) >= 6 for one in points.values())


def test_what_the_plan_says_of_power_agrees_with_the_meters_of_the_house() -> None:
    compared = []
    for point, wiring in larkspur_wiring().items():
        truth = MODULES[point].truth
        for load in wiring.circuit.loads:
            number = load.channel.partition(".")[2] or "1"
            measured = truth.get(f"meter.{number}.power_w")
            level = truth.get(f"dimmer.{number}.level_pct", truth.get(f"led.{number}.level_pct", 100.0))
            if isinstance(measured, float) and measured > 0 and isinstance(level, float) and level > 0:
                assert load.total_w * level / 100 == pytest.approx(measured, rel=0.02), point
                compared.append(point)
    assert len(compared) == 8


@pytest.mark.parametrize("misfit", ALL_MISFITS, ids=lambda misfit: misfit.name)
def test_a_misfit_is_found_at_its_point_with_the_numbers_and_nothing_else_is(misfit: Misfit, tmp_path: Path) -> None:
    points = judged(wiring_with([misfit.name]), tmp_path)

    assert not_met(points) == {(misfit.point, rule, outcome) for rule, outcome in misfit.found}
    rule, outcome = misfit.found[0]
    (finding,) = [one for one in points[misfit.point].findings if one.rule.id == rule and one.outcome == outcome]
    assert [words for words in misfit.words if words not in finding.sentence] == []


def test_all_misfits_together_are_all_found_and_nothing_else(tmp_path: Path) -> None:
    points = judged(wiring_with(MISFITS), tmp_path)

    assert not_met(points) == {(one.point, rule, outcome) for one in ALL_MISFITS for rule, outcome in one.found}


def test_the_misfits_are_of_many_kinds_and_at_points_of_their_own() -> None:
    assert len({misfit.found[0][0] for misfit in ALL_MISFITS}) >= 12
    assert len({misfit.point for misfit in ALL_MISFITS}) == len(ALL_MISFITS)


def test_a_misfit_that_does_not_exist_is_named_with_the_nearest_that_does() -> None:
    with pytest.raises(UsageError, match="Did you mean no-neutral"):
        wiring_with(["no-neutrals"])
