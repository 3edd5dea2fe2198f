"""The close-in check of one point or of several: step by step, each kept as soon as it ended.

What belongs here: the order, taking a check up again, and what a person may answer to a step that is broken. What does
not: the steps, and the way to the person (`talk`).

With several points the person walks the house once: everything at one box, then the next; one power cut serves all.
"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import count

from pattress.audit.kept import kept_sightings
from pattress.audit.outlook import close_outlook_of
from pattress.audit.session import Clock, Session, open_session, planned_sightings
from pattress.closein import end_steps, heat_step, long_steps, module_steps, output_steps, switch_steps
from pattress.closein.cautions import MEND
from pattress.closein.channels import channels_of
from pattress.closein.checks import Step, dropped, outdated, steps_of, to_do
from pattress.closein.finding import Finder
from pattress.closein.pace import Pace
from pattress.closein.record import planned_of
from pattress.closein.shared_talk import SharedTalk
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question, SkipStepError, StopCheckError, Talk
from pattress.model.closein import CloseIn, StepOutcome, StepResult
from pattress.model.device import Device
from pattress.model.errors import StoreError
from pattress.model.finding import Finding
from pattress.model.kept import SignOff
from pattress.model.plan import Point
from pattress.model.reading import Snapshot
from pattress.model.site import Site
from pattress.model.vocabulary import Value
from pattress.policy.drift import settings_of
from pattress.policy.outside import Outlook
from pattress.report.planned import steps_not_done
from pattress.store.store import Store

Fitness = Callable[[Point], Sequence[Finding]]
TOGETHER = ("power-cut",)  # steps that several points do at the same time


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is asked for: which points, by whom, one step alone or what is left, and how long things may take."""

    points: Sequence[Point]
    who: str
    step: str | None = None
    is_anew: bool = False
    pace: Pace = field(default_factory=Pace)


STOPPED = "Stopped. What was done is kept; the same command takes it up again."


class CloseInRunner:
    """Runs the check."""

    def __init__(self, site: Site, store: Store, talk: Talk, clock: Clock, fitness: Fitness) -> None:
        self._site = site
        self._store = store
        self._talk = talk
        self._clock = clock
        self._fitness = fitness

    async def run(self, order: Order) -> list[CloseIn]:
        """Do what is asked for, and return the checks as they stand then. A person may stop at any step."""
        async with open_session(self._site, self._clock) as session:
            known = await self._store.known_devices()
            for sighting in [*kept_sightings(known), *planned_sightings(self._site.plan, self._clock())]:
                session.add(sighting)
            finder = Finder(session, self._site.plan, self._site.limits.listen_s)
            runs = [await self._begun(order, point, session, finder) for point in order.points]
            try:
                await self._walk(runs)
            except StopCheckError:
                self._talk.say(STOPPED)
            except asyncio.CancelledError:
                self._talk.say(STOPPED)
                raise
        return [await self._store.close_in(one.check.id) for one in runs]

    async def _begun(self, order: Order, point: Point, session: Session, finder: Finder) -> "_Run":
        profile = self._site.profile(point.kind)
        assert profile is not None, "the site's files were checked"  # noqa: S101
        check = await self._store.open_close_in(point.name)
        if check is not None and order.is_anew:
            await self._store.end_close_in(check.id, self._clock(), is_signed_off=False)
            check = None
        planned = planned_of(self._site, point)
        if check is not None and planned != check.planned:
            check = await self._replanned(check, planned)
        if check is None:
            if order.step is not None:
                self._talk.say(f"No check of {point.name} is open: a new one begins, with {order.step} alone.")
            number = await self._store.begin_close_in(point.name, order.who, self._clock(), planned=planned)
            check = await self._store.close_in(number)
        stage = Stage(
            site=self._site, point=point, profile=profile, talk=self._talk, clock=self._clock, pace=order.pace,
            read_device=session.read,
        )  # fmt: skip

        async def look_again() -> Device | None:
            await finder.listen()
            return finder.of_point(point, None if stage.device is None else stage.device.id)

        stage.look_again = look_again
        steps = to_do(steps_of(profile, point), check, order.step)
        return _Run(check, stage, finder, steps, order.who, is_one_of_several=len(order.points) > 1)

    async def _replanned(self, check: CloseIn, planned: Mapping[str, Value]) -> CloseIn:
        """Take up a check whose plan was changed since: what rests on that is broken until it is done again.

        What is broken and the plan has no more is left out.
        """
        old = outdated(check, planned)
        for one in old:
            why = f"the plan was changed since it was {one.outcome}: it is to be done again"
            await self._overtaken(check, one, "broken", why)
        for one in dropped(check, planned):
            await self._overtaken(check, one, "skipped", "it was broken, and the plan has it no more")
        await self._store.close_in_planned(check.id, planned)
        if old:
            names = ", ".join(one.step for one in old)
            self._talk.say(f"The plan of {check.point} was changed since. To be done again: {names}.")
        return await self._store.close_in(check.id)

    async def _overtaken(self, check: CloseIn, result: StepResult, outcome: StepOutcome, why: str) -> None:
        """Keep that a result counts no more, as another try of its step."""
        now = self._clock()
        newer = replace(result, outcome=outcome, sentence=why, began_at=now, ended_at=now, facts={}, samples=())
        await self._store.keep_step(check.id, newer)

    async def _walk(self, runs: Sequence["_Run"]) -> None:
        """Do what is done at each box, then what is waited for together, then the end of each."""
        for run in runs:
            for step in run.steps:
                if step.kind not in (*TOGETHER, "outside", "sign-off"):
                    await self._until_agreed([(run, step)])
                    if run.is_over:
                        break
        for kind in TOGETHER:
            tries = [(run, step) for run in runs for step in run.steps if step.kind == kind and not run.is_over]
            await self._until_agreed(tries)
        for run in runs:
            for step in run.steps:
                if step.kind in ("outside", "sign-off") and not run.is_over:
                    await self._until_agreed([(run, step)])

    async def _until_agreed(self, tries: Sequence["_Try"]) -> None:
        """Do a step, at several points at once, and again wherever it is broken and the person wants that."""
        while tries:
            results = [await self._once(*tries[0])] if len(tries) == 1 else await self._together(tries)
            tries = [one for one, result in zip(tries, results, strict=True) if await self._is_again(*one, result)]

    async def _together(self, tries: Sequence["_Try"]) -> list[StepResult]:
        """Do a step at several points at once: the person is asked once, each module is watched by itself."""
        shared = SharedTalk(self._talk, len(tries))
        for run, _ in tries:
            run.stage.talk = shared
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [
                    group.create_task(self._once(run, step), name=f"{step.name} at {run.stage.point.name}")
                    for run, step in tries
                ]
        except ExceptionGroup as group:
            raise (StopCheckError() if group.subgroup(StopCheckError) else group.exceptions[0]) from None
        finally:
            for run, _ in tries:
                run.stage.talk = self._talk
        return [task.result() for task in tasks]

    async def _is_again(self, run: "_Run", step: Step, result: StepResult) -> bool:
        """Return whether a step is broken and the person wants to do it again."""
        if result.outcome != "broken" or step.kind == "sign-off":
            return False
        where = f" at {run.stage.point.name}" if run.is_one_of_several else ""
        if step.kind == "outside":
            remembers = "and stays so in this check: mend it, and begin anew with --anew"
            question = Question(text=f"It is broken{where}, {remembers}. Go on to the end?", replies=("on", "stop"))
        elif step.kind in ("recognised", "settings", "fit") or await self._talk.confirm(MEND):
            question = Question(text=f"It is broken{where}. Mend it and do it again?", replies=("again", "on", "stop"))
        else:
            question = Question(text=f"It is broken{where}. Leave it as it is?", replies=("on", "stop"))
        reply = await self._talk.ask(question)
        if reply == "stop":
            raise StopCheckError
        if reply == "on":
            run.is_over = step.kind == "found"  # nothing else can be done at a module that is not there
        return reply == "again"

    async def _once(self, run: "_Run", step: Step) -> StepResult:
        """Do a step once and keep how it ended."""
        stage = run.stage
        stage.samples = []
        began_at = self._clock()
        stage.talk.begin(stage.point.name, f"{step.name}: {step.title}")
        try:
            ended = await self._done(run, step)
        except SkipStepError as reason:
            ended = Ended(outcome="skipped", sentence=str(reason))
        except BaseException:  # stopped, or the program ends: what was read so far is kept, as of a try cut short
            await self._keep_samples(run, step)
            raise
        result = StepResult(
            step=step.name, title=step.title, outcome=ended.outcome, sentence=ended.sentence, began_at=began_at,
            ended_at=self._clock(), facts=ended.facts, samples=tuple(stage.samples),
        )  # fmt: skip
        await self._keep(run, result)
        run.check = await self._store.close_in(run.check.id)
        stage.talk.result(stage.point.name, result)
        if step.kind == "found" and stage.device is None and ended.outcome != "broken":
            run.is_over = True  # nothing can be looked at, and what is left stays to be done
        if step.kind == "sign-off" and ended.outcome == "met":
            await self._agree(run)
        return result

    async def _keep_samples(self, run: "_Run", step: Step) -> None:
        """Keep what was read in a try that was cut short, where the database takes it: it is ending already."""
        try:
            await self._store.keep_samples(run.check.id, step.name, run.stage.samples)
        except StoreError as error:
            run.stage.talk.say(f"What was read in {step.name} is lost: {error}")

    async def _keep(self, run: "_Run", result: StepResult) -> None:
        """Keep a result; where the database is full or busy, the person may make room and have it tried again."""
        for number in count(1):
            try:
                await self._store.keep_step(run.check.id, result)
            except StoreError as error:
                # Each try is a question of its own: to the same words a walk has the answer already.
                what = f"{result.step} at {run.stage.point.name} could not be kept ({number}): {error}"
                text = f"{what} It would have to be done anew. Try to keep it again?"
                if await run.stage.talk.ask(Question(text=text, replies=("again", "stop"))) == "stop":
                    raise StopCheckError from error
            else:
                return

    async def _done(self, run: "_Run", step: Step) -> Ended:
        stage, (kind, _, channel) = run.stage, step.name.partition(".")
        if kind == "found":
            return await self._found(run)
        if stage.device is None and kind != "fit":
            await self._seen_before(run)
        do: dict[str, Callable[[], Awaitable[Ended]]] = {
            "recognised": lambda: module_steps.recognise(stage),
            "settings": lambda: module_steps.settings(stage, self._clock()),
            "input": lambda: switch_steps.switch(stage, int(channel)),
            "drive": lambda: switch_steps.driven(stage, stage.point.drives[int(channel) - 1]),
            "output": lambda: self._output(stage, step),
            "radio": lambda: long_steps.radio(stage),
            "heat": lambda: heat_step.heat(stage),
            "power-cut": lambda: long_steps.power_cut(stage),
            "outside": lambda: self._outside(run),
            "sign-off": lambda: self._sign_off(run),
        }
        if kind == "fit":
            return module_steps.fit(stage, self._fitness(stage.point))
        return await do[kind]()

    async def _found(self, run: "_Run") -> Ended:
        stage, begun_with = run.stage, run.check.device
        stage.device = other = None
        try:
            ended = await module_steps.find(stage, run.finder, begun_with)
        finally:  # a caution that is not heeded leaves the step out, not the question which module it is
            stage.other_devices = run.finder.at_points()
            if stage.device is not None and begun_with not in (None, *stage.device.ids):
                other, stage.device = stage.device, None
            elif stage.device is not None:
                await self._store.close_in_device(run.check.id, stage.device.id)
        if other is not None:
            sentence = f"{other.title} is another module than the one with which this check was begun ({begun_with})"
            return Ended(outcome="broken", sentence=f"{sentence}: begin anew, with --anew")
        return ended

    async def _seen_before(self, run: "_Run") -> None:
        """Take the module as it is known, for a step that is done by itself."""
        await run.finder.listen()
        device = run.finder.of_point(run.stage.point, run.check.device)
        run.stage.other_devices = run.finder.at_points()
        at = f"at {run.stage.point.name}"
        if device is None:
            self._talk.say(f"The module {at} was not found: do the step `found` first.")
            raise StopCheckError
        if run.check.device not in (None, *device.ids):
            self._talk.say(
                f"Another module is {at} than the one with which this check was begun: begin anew, with --anew."
            )
            raise StopCheckError
        run.stage.device = device

    async def _output(self, stage: Stage, step: Step) -> Ended:
        channel = next(one for one in channels_of(stage.profile, stage.point) if one.step == step.name)
        return await output_steps.output(stage, channel, stage.profile.data_sheet.rated_power_w)

    async def _outside(self, run: "_Run") -> Ended:
        others = [one.ended_at for one in run.check.results if one.kind not in ("outside", "sign-off")]
        began_at, last_at = run.check.began_at, max(others, default=self._clock())

        async def look(until: datetime) -> Outlook:
            return await close_outlook_of(self._site, self._store, began_at, until)

        return end_steps.outside(run.stage, await end_steps.until_told(run.stage, last_at, look))

    async def _sign_off(self, run: "_Run") -> Ended:
        reading = await run.stage.read()
        run.last = reading if isinstance(reading, Snapshot) else None
        not_done = [name for name in steps_not_done(run.check) if name != "sign-off"]
        settings = module_steps.judged(run.stage, reading, self._clock())
        return await end_steps.sign_off(run.stage, run.who, run.check.results, not_done, reading, settings)

    async def _agree(self, run: "_Run") -> None:
        """Keep the reading that the person agreed to: drift is measured against it from now on."""
        assert run.stage.device is not None and run.last is not None, "it was read to be agreed to"  # noqa: S101, PT018
        agreed = SignOff(
            device=run.stage.device.id, point=run.stage.point.name, at=self._clock(), who=run.who,
            why=f"close-in check {run.check.id}", values=settings_of(run.last),
        )  # fmt: skip
        await self._store.sign_off([agreed])
        await self._store.end_close_in(run.check.id, self._clock(), is_signed_off=True)


@dataclass(slots=True)
class _Run:
    """The check of one point, as it goes on. `last` is the reading that the person is asked to agree to."""

    check: CloseIn
    stage: Stage
    finder: Finder
    steps: list[Step]
    who: str
    is_one_of_several: bool
    is_over: bool = False
    last: Snapshot | None = None


_Try = tuple[_Run, Step]


def with_heat(pace: Pace, minutes: float | None) -> Pace:
    """Return a pace that watches the heat for so many minutes."""
    return pace if minutes is None else replace(pace, heat_s=minutes * 60)
