"""`pattress close-in` at the boxes of the emulated house, by a person at a real pseudo-terminal.

A right module of each class passes. Each wrong one stops at the step that is about what is wrong, and at no other:
every step before it is met, or was left out by the person to save time (what `leaves_out` names). The visits are in
`scenarios`, and go on side by side while these tests wait for them.
"""

import re

import pytest

from closein.scenarios import LONG, LOST_ON_A_WALK, RIGHT, STOPPED_IN_THE_MIDDLE, VISITS, WALK, WATCH_HAS_DIED, WRONG
from closein.side_by_side import Visits
from closein.visit import Outcome
from pattress.model.closein import STEP_KINDS
from pattress.site.load import load_profiles
from pattress.site.places import shipped_profiles_folder

STEPS_WITHOUT_DRIVES = set(STEP_KINDS) - {"drive"}
AFTER_THE_WALK = ("heat", "power-cut", "outside", "sign-off")
NOT_ALL_SHOWN = 3


@pytest.mark.peer
@pytest.mark.parametrize("name", RIGHT)
def test_a_right_module_passes(name: str, visits: Visits) -> None:
    has_drives = bool(RIGHT[name].box.wiring.drives)

    outcome = visits.outcome(name)

    assert set(outcome.outcomes.values()) == {"MET"}, outcome.text
    assert outcome.status == 0
    assert outcome.check.is_signed_off
    assert [result.step for result in outcome.check.results] == list(outcome.outcomes)
    kinds = {result.kind for result in outcome.check.results}
    assert kinds == (set(STEP_KINDS) if has_drives else STEPS_WITHOUT_DRIVES)
    assert sum(prompt.startswith("CAUTION: ") for prompt in outcome.prompts) >= 5
    assert outcome.crossed == []


@pytest.mark.peer
@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_module_stops_at_the_step_that_is_about_it(name: str, visits: Visits) -> None:
    wrong = WRONG[name]

    outcome = visits.outcome(name)

    assert (outcome.last.step, outcome.last.outcome) == (wrong.step, "BROKEN"), outcome.text
    assert re.search(wrong.sentence, outcome.last.sentence), outcome.text
    before = {one.step: one.outcome for one in outcome.ended[:-1]}
    left_out = {step for step in before if step.partition(".")[0] in wrong.visit.leaves_out}
    assert {before[step] for step in before.keys() - left_out} <= {"MET"}, outcome.text
    assert {before[step] for step in left_out} <= {"SKIPPED"}, outcome.text
    assert outcome.status == 1
    assert not outcome.check.is_signed_off
    assert [(result.step, result.outcome) for result in outcome.check.results][-1] == (wrong.step, "broken")


@pytest.mark.peer
@pytest.mark.parametrize("name", [STOPPED_IN_THE_MIDDLE])
def test_a_check_that_was_stopped_is_taken_up_again_by_the_same_command(name: str, visits: Visits) -> None:
    first_steps = ["found", "recognised", "settings", "fit", "input.1", "drive.1"]
    later_steps = ["output.1", "radio", "heat", "power-cut", "outside", "sign-off"]

    outcome = visits.outcome(name)

    stopped, taken_up = outcome.sittings
    assert [one.step for one in stopped.ended] == first_steps, outcome.text
    looked_at_again = ["found", "recognised", "settings", "fit"]
    assert [one.step for one in taken_up.ended] == [*looked_at_again, *later_steps], outcome.text
    skipped = [one.step for one in outcome.ended if one.outcome == "SKIPPED"]
    assert [step.partition(".")[0] for step in skipped] == list(LONG[name].leaves_out)
    assert {one.outcome for one in outcome.ended} == {"MET", "SKIPPED"}, outcome.text
    assert (stopped.status, taken_up.status) == (NOT_ALL_SHOWN, NOT_ALL_SHOWN)
    assert outcome.check.is_signed_off
    assert [result.step for result in outcome.check.results] == [*first_steps, *later_steps]


@pytest.mark.peer
@pytest.mark.parametrize("name", [WALK])
def test_two_points_are_walked_in_one_command(name: str, visits: Visits) -> None:
    points = [box.point for box in LONG[name].boxes]

    outcome = visits.outcome(name)

    left_out = {one.step for one in outcome.ended if one.outcome == "SKIPPED"}
    assert {step.partition(".")[0] for step in left_out} == set(LONG[name].leaves_out)
    assert {one.outcome for one in outcome.ended} == {"MET", "SKIPPED"}, outcome.text
    assert outcome.status == NOT_ALL_SHOWN
    assert [check.point for check in outcome.checks] == points
    assert all(check.is_signed_off for check in outcome.checks)
    at_boxes = [one.point for one in outcome.ended if one.step not in AFTER_THE_WALK]
    assert at_boxes == sorted(at_boxes, key=points.index)
    assert set(at_boxes) == set(points)
    assert sum(one.startswith("Switch the circuit off at the board") for one in outcome.prompts) == 1, outcome.text
    assert _went_on_together("power-cut", outcome)
    assert not _went_on_together("heat", outcome)


@pytest.mark.peer
@pytest.mark.parametrize("name", [LOST_ON_A_WALK])
def test_a_module_that_does_not_come_back_on_a_walk_is_mended_and_its_power_cut_again_alone(
    name: str, visits: Visits
) -> None:
    kitchen, blind = [box.point for box in LONG[name].boxes]

    outcome = visits.outcome(name)

    cuts = [(one.point, one.outcome) for one in outcome.ended if one.step == "power-cut"]
    assert cuts == [(kitchen, "MET"), (blind, "BROKEN"), (blind, "MET")], outcome.text
    mended = [one for one in outcome.prompts if "It is broken" in one]
    assert mended == [f"It is broken at {blind}. Mend it and do it again?"]
    assert sum(one.startswith("Switch the circuit off at the board") for one in outcome.prompts) == 2, outcome.text
    assert [result.outcome for result in outcome.checks[1].results if result.step == "power-cut"] == ["met"]
    assert all(check.is_signed_off for check in outcome.checks)


@pytest.mark.peer
@pytest.mark.parametrize("name", [WALK, LOST_ON_A_WALK])
def test_on_a_walk_nothing_is_said_on_the_line_of_an_open_question(name: str, visits: Visits) -> None:
    outcome = visits.outcome(name)

    assert outcome.crossed == [], outcome.text


@pytest.mark.peer
@pytest.mark.parametrize("name", [WATCH_HAS_DIED])
def test_a_module_that_calls_home_is_not_called_silent_where_the_watch_has_died(name: str, visits: Visits) -> None:
    outcome = visits.outcome(name)

    [outside] = [one for one in outcome.ended if one.step == "outside"]
    assert outside.outcome == "COULD NOT BE CHECKED", outcome.text
    assert re.search(r"router\S* was heard in 0\.. of .* min\. Does `pattress watch` run\?", outside.sentence), outside
    assert outcome.status == NOT_ALL_SHOWN


def _went_on_together(step: str, outcome: Outcome) -> bool:
    results = [result for check in outcome.checks for result in check.results if result.step == step]
    return max(one.began_at for one in results) < min(one.ended_at for one in results)


def test_a_right_module_of_every_class_is_visited() -> None:
    assert set(RIGHT) == {profile.module_class for profile in load_profiles([shipped_profiles_folder()])}


def test_no_two_visits_have_one_name() -> None:
    assert len(VISITS) == len(RIGHT) + len(WRONG) + len(LONG)
