"""Which steps a point has, and which are still to be done."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from pattress.closein.checks import steps_of, to_do
from pattress.model.circuit import Drive
from pattress.model.closein import CloseIn, StepOutcome, StepResult
from pattress.model.errors import UsageError
from unit.closein.scripted import POINT, PROFILE

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
STEPS = steps_of(PROFILE, replace(POINT, drives=(Drive(input=2, channel="output.1", point="yard-lights"),)))


def check(**outcomes: StepOutcome) -> CloseIn:
    results = tuple(
        StepResult(step=step.replace("_", "."), title="", outcome=outcome, sentence="", began_at=NOON, ended_at=NOON)
        for step, outcome in outcomes.items()
    )
    return CloseIn(id=1, point="hall-lights", who="A. Fitter", began_at=NOON, results=results)


def test_the_steps_follow_the_channels_of_the_kind_and_the_plan() -> None:
    assert [one.name for one in STEPS] == [
        "found", "recognised", "settings", "fit", "input.1", "input.2", "drive.1", "output.1", "output.2", "radio",
        "heat", "power-cut", "outside", "sign-off",
    ]  # fmt: skip
    assert STEPS[6].title == "What input 2 drives: output.1 at yard-lights"
    assert STEPS[7].title == "output.1 feeds downlights"


@pytest.mark.parametrize(
    ("module_class", "channels", "steps"),
    [
        ("shutter", {"output": 2, "input": 2, "meter": 1}, ["output.shutter"]),
        ("dimmer", {"output": 1, "dimmer": 1}, ["output.dimmer.1"]),
        ("led-controller", {"led": 4}, [f"output.led.{number}" for number in (1, 2, 3, 4)]),
        ("isolated-contact-relay", {"output": 1}, ["output.1"]),
        ("other", {}, []),
    ],
)
def test_each_class_of_module_has_its_outputs(module_class: str, channels: dict[str, int], steps: list[str]) -> None:
    profile = replace(PROFILE, module_class=module_class, channels=channels)  # type: ignore[arg-type]

    assert [one.name for one in steps_of(profile, POINT) if one.kind == "output"] == steps


def test_a_check_that_is_taken_up_again_does_what_is_left_or_broken_and_all_that_asks_nothing() -> None:
    left = to_do(
        STEPS, check(found="met", recognised="met", settings="broken", fit="unverified", input_1="skipped"), None
    )

    assert [one.name for one in left][:6] == ["found", "recognised", "settings", "fit", "input.2", "drive.1"]
    assert [one.name for one in left][-2:] == ["outside", "sign-off"]


def test_one_step_can_be_done_again_by_its_name_or_its_kind() -> None:
    assert [one.name for one in to_do(STEPS, check(), "input.2")] == ["input.2"]
    assert [one.name for one in to_do(STEPS, check(), "input")] == ["input.1", "input.2"]
    with pytest.raises(UsageError, match=r"there is no step 'input.9'.*The steps are: found, recognised"):
        to_do(STEPS, check(), "input.9")
