"""The last steps: silence towards the outside, and the person who agrees."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from pattress.closein.end_steps import lag_s, outside, sign_off, until_told
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import SkipStepError
from pattress.model.closein import StepOutcome, StepResult
from pattress.model.encounter import Encounter, Hearing
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.model.watching import Watching, WatchKind, WatchSource
from pattress.policy.outside import Outlook
from unit.closein.scripted import DEVICE, NOON, Scripted, stage

MINUTE = timedelta(minutes=1)
LAST = NOON + 12 * MINUTE
FLOWS = WatchSource(name="router", kind="flows")
LAG = timedelta(seconds=lag_s([FLOWS]))


def watched(script: Scripted | None = None, kind: WatchKind = "flows") -> Stage:
    made = stage(script or Scripted())
    made.site = replace(made.site, watching=Watching(sources=(replace(FLOWS, kind=kind),)))
    return made


def heard(until: datetime = LAST + LAG, *, since: datetime = NOON, count: int = 40) -> Hearing:
    """Somebody listened all the time between two moments."""
    return Hearing(
        source="router", hour=NOON, listened_s=(until - since).total_seconds(), listened_from=since,
        listened_until=until, heard=count, heard_at=until if count else None,
    )  # fmt: skip


def seen(site_of: Stage, *encounters: Encounter, hearings: list[Hearing]) -> Outlook:
    return Outlook(
        since=NOON, until=LAST + LAG, sources=site_of.site.watching.sources, encounters=encounters, hearings=hearings,
        is_close=True,
    )  # fmt: skip


def encounter(device: str, at: datetime = LAST) -> Encounter:
    return Encounter(kind="tried", device=device, remote="203.0.113.9", first_at=at, last_at=at, sources=("router",))


def test_silence_is_met_where_somebody_listened_all_the_time() -> None:
    made = watched()

    ended = outside(made, seen(made, hearings=[heard()]))

    assert (ended.outcome, ended.sentence) == ("met", "nothing was seen; router was heard in 15.2 of 15.2 min")


@pytest.mark.parametrize(
    ("hearing", "minutes"),
    [
        (heard(NOON + 4 * MINUTE), "4.0"),  # the watch died in the middle
        (heard(LAST), "12.0"),  # or before the last that the module did could come from the router
        (heard(since=NOON + 5 * MINUTE), "10.2"),  # or began only after the check
        (heard(count=0), "0.0"),  # or the router told it nothing
    ],
)
def test_silence_is_not_believed_where_nobody_listened_for_a_part(hearing: Hearing, minutes: str) -> None:
    made = watched()

    ended = outside(made, seen(made, hearings=[hearing]))

    assert ended.outcome == "unverified"
    assert ended.sentence == f"router was heard in {minutes} of 15.2 min. Does `pattress watch` run?"


def test_without_a_source_that_would_tell_nothing_is_met() -> None:
    none = stage(Scripted())
    names_alone = watched(kind="names")

    assert outside(none, seen(none, hearings=[])).sentence == "the site names no source that would tell: see [watch]"
    assert outside(names_alone, seen(names_alone, hearings=[heard()])).sentence == (
        "no source tells of what is let through: names alone, or what is dropped alone, prove nothing"
    )
    assert outside(watched(), seen(watched(), hearings=[])).outcome == "unverified"


@pytest.mark.parametrize("device", [DEVICE.id, "address:192.0.2.7", "name:lamp"])
def test_what_the_module_did_is_broken_by_whatever_name_it_was_known(device: str) -> None:
    made = watched()

    ended = outside(made, seen(made, encounter(device), hearings=[]))

    assert (ended.outcome, "it tried to reach 203.0.113.9" in ended.sentence) == ("broken", True)
    assert outside(made, seen(made, encounter("mac:other"), hearings=[heard()])).outcome == "met"


class Watch:
    """What a watch has kept so far, by the clock of a script that goes on by so much with each look."""

    def __init__(self, script: Scripted, made: Stage, *, until: datetime | None = None, step: timedelta) -> None:
        self._script, self._made, self._until, self._step = script, made, until, step
        self.looks = 0

    async def look(self, until: datetime) -> Outlook:
        assert until == LAST + LAG
        self.looks += 1
        self._script.now += self._step
        listened_until = self._script.now if self._until is None else min(self._script.now, self._until)
        return seen(self._made, hearings=[heard(listened_until)])


async def test_the_end_waits_until_what_the_module_did_last_is_on_record() -> None:
    script = Scripted()
    made = watched(script)
    made.pace = replace(made.pace, look_s=0.0)
    script.now = LAST
    watch = Watch(script, made, step=timedelta(seconds=20))

    told = await until_told(made, LAST, watch.look)

    assert script.now >= LAST + LAG
    assert (watch.looks, script.now - LAST - LAG < timedelta(seconds=20)) == (10, True)
    assert outside(made, told).outcome == "met"
    assert any("Waiting until the router has told" in text for text in script.asked)


async def test_nobody_waits_for_a_watch_that_does_not_run() -> None:
    script = Scripted()
    made = watched(script)
    script.now = LAST
    watch = Watch(script, made, until=LAST - 5 * MINUTE, step=timedelta(seconds=1))

    told = await until_told(made, LAST, watch.look)

    assert (watch.looks, script.asked) == (1, [])
    assert outside(made, told).outcome == "unverified"


async def test_a_watch_that_dies_while_it_is_waited_for_is_given_up() -> None:
    script = Scripted()
    made = watched(script)
    made.pace = replace(made.pace, look_s=0.0)
    script.now = LAST
    watch = Watch(script, made, until=LAST + MINUTE, step=timedelta(seconds=20))

    told = await until_told(made, LAST, watch.look)

    assert script.now - LAST < 4 * MINUTE
    assert outside(made, told).outcome == "unverified"


async def test_the_person_need_not_wait() -> None:
    script = Scripted().when("Waiting until the router has told", "skip")
    made = watched(script)
    made.pace = replace(made.pace, look_s=0.0)
    script.now = LAST
    script.wording = "no time"

    with pytest.raises(SkipStepError, match="no time"):
        await until_told(made, LAST, Watch(script, made, step=timedelta(seconds=0.1)).look)


def result(step: str, outcome: StepOutcome) -> StepResult:
    return StepResult(
        step=step, title="", outcome=outcome, sentence="", began_at=datetime.now(UTC), ended_at=datetime.now(UTC)
    )


ANSWERS = Snapshot(device=DEVICE.id, kind="twin", taken_at=LAST, duration_s=0.1, values={})
SILENT = Unreadable(device=DEVICE.id, kind="twin", taken_at=LAST, reason="no answer within 5 s")
IN_ORDER = Ended(outcome="met", sentence="4 of 4 checks are met")


async def agreed(
    script: Scripted,
    *results: StepResult,
    not_done: Sequence[str] = (),
    reading: Reading = ANSWERS,
    settings: Ended = IN_ORDER,
) -> Ended:
    return await sign_off(stage(script), "A. Fitter", results, not_done, reading, settings)


async def test_nobody_can_agree_to_what_is_broken() -> None:
    script = Scripted()

    ended = await agreed(script, result("heat", "broken"), result("radio", "met"))

    assert (ended.outcome, script.asked) == ("broken", [])
    assert "heat" in ended.sentence


async def test_what_was_not_shown_is_said_before_a_person_agrees() -> None:
    script = Scripted().when("may the wall be closed", "yes")

    ended = await agreed(script, result("heat", "skipped"), result("fit", "unverified"), not_done=["radio"])

    assert ended.outcome == "met"
    assert "Not shown: heat (skipped), fit (unverified), radio (not done)." in script.asked[0]
    assert (await agreed(Scripted().when("may the wall", "no"))).outcome == "broken"


async def test_settings_that_nobody_can_read_or_that_changed_since_are_not_agreed_to() -> None:
    script = Scripted()
    changed = Ended(outcome="broken", sentence="mqtt.host is another")

    silent = await agreed(script, result("settings", "met"), reading=SILENT)
    other = await agreed(script, result("settings", "met"), settings=changed)

    assert (silent.outcome, other.outcome, script.asked) == ("unverified", "broken", [])
    assert "its settings cannot be signed off: no answer within 5 s" in silent.sentence
    assert "no longer as they should be: mqtt.host is another" in other.sentence
