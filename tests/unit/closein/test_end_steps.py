"""The last steps: silence towards the outside, and the person who agrees."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pattress.closein.end_steps import outside, sign_off
from pattress.closein.stage import Stage
from pattress.model.closein import StepOutcome, StepResult
from pattress.model.encounter import Encounter, Hearing
from pattress.model.watching import Watching, WatchSource
from unit.closein.scripted import DEVICE, NOON, Scripted, stage

LATER = NOON + timedelta(minutes=5)
HEARD = Hearing(source="router", hour=NOON, listened_s=300.0, heard=40)


def watched(script: Scripted | None = None) -> Stage:
    made = stage(script or Scripted())
    made.site = replace(made.site, watching=Watching(sources=(WatchSource(name="router", kind="flows"),)))
    return made


def encounter(device: str, at: datetime = LATER) -> Encounter:
    return Encounter(kind="tried", device=device, remote="203.0.113.9", first_at=at, last_at=at, sources=("router",))


def test_silence_is_met_only_where_somebody_listened() -> None:
    assert outside(watched(), NOON, [], [HEARD]).outcome == "met"
    assert outside(watched(), NOON, [], []).outcome == "unverified"
    assert outside(watched(), NOON, [], [replace(HEARD, heard=0)]).outcome == "unverified"
    assert outside(stage(Scripted()), NOON, [], [HEARD]).sentence == (
        "the site names no source that would tell: see [watch]"
    )


@pytest.mark.parametrize("device", [DEVICE.id, "address:192.0.2.7"])
def test_what_the_module_did_since_the_check_began_is_broken(device: str) -> None:
    ended = outside(watched(), NOON, [encounter(device)], [HEARD])

    assert (ended.outcome, "it tried to reach 203.0.113.9" in ended.sentence) == ("broken", True)
    assert outside(watched(), NOON, [encounter("mac:other")], [HEARD]).outcome == "met"
    assert outside(watched(), NOON, [encounter(device, NOON - timedelta(hours=1))], [HEARD]).outcome == "met"


def result(step: str, outcome: StepOutcome) -> StepResult:
    return StepResult(
        step=step, title="", outcome=outcome, sentence="", began_at=datetime.now(UTC), ended_at=datetime.now(UTC)
    )


async def test_nobody_can_agree_to_what_is_broken() -> None:
    script = Scripted()

    ended = await sign_off(stage(script), "A. Fitter", [result("heat", "broken"), result("radio", "met")])

    assert (ended.outcome, script.asked) == ("broken", [])
    assert "heat" in ended.sentence


async def test_what_was_not_shown_is_said_before_a_person_agrees() -> None:
    script = Scripted().when("may the wall be closed", "yes")

    ended = await sign_off(stage(script), "A. Fitter", [result("heat", "skipped"), result("fit", "unverified")])

    assert ended.outcome == "met"
    assert "Not shown: heat (skipped), fit (unverified)." in script.asked[0]
    assert (await sign_off(stage(Scripted().when("may the wall", "no")), "B", [])).outcome == "broken"
