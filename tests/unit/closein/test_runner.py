"""The order of a check, several points in one walk, and taking it up again."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from pattress.cli.commands.close_in import status_of_checks
from pattress.cli.output import UNVERIFIED
from pattress.closein import end_steps, runner, switch_steps
from pattress.closein.pace import Pace
from pattress.closein.runner import CloseInRunner, Order
from pattress.closein.stage import Ended
from pattress.closein.talk import Question, Reply
from pattress.identity import Merged, merge
from pattress.model.circuit import Circuit, Drive
from pattress.model.closein import CloseIn, StepResult
from pattress.model.device import Device, Sighting
from pattress.model.errors import StoreError
from pattress.model.plan import Plan, Point
from pattress.model.reading import Reading, Unreadable
from pattress.model.site import Site
from pattress.model.vocabulary import Value
from pattress.report.closein import check_text
from pattress.report.text import Style
from pattress.store.store import Store
from unit.closein.scripted import AT_REST, NOON, Scripted, stage

BARE = replace(stage(Scripted()).profile, id="bare", module_class="other", channels={})
POINTS = tuple(
    Point(name=name, room="Hall", kind="bare", mac=f"02:00:5e:00:53:0{number}")
    for number, name in enumerate(("hall-lights", "yard-lights"), 1)
)
QUICK = Pace(poll_s=0.0, radio_readings=8, radio_apart_s=0.0, heat_apart_s=0.0)


MANY_TURNS = 50


class Modules(Scripted):
    """Modules that do as one does; those at points in `lost` do not answer, those in `slow` after many turns."""

    def __init__(self, **values: Value) -> None:
        super().__init__(**values)
        self.lost: set[str] = set()
        self.slow: set[str] = set()
        self.ended: list[tuple[str, StepResult]] = []
        self.crossed: list[str] = []
        self._is_open = False

    async def read_device(self, device: Device, point: Point | None) -> Reading:
        for _ in range(MANY_TURNS if point is not None and point.name in self.slow else 0):
            await asyncio.sleep(0)
        reading = await super().read_device(device, point)
        if point is not None and point.name in self.lost:
            return Unreadable(device=device.id, kind="bare", taken_at=self.now, reason="no answer within 5 s")
        return reading

    def result(self, point: str, result: StepResult) -> None:
        super().result(point, result)
        self.ended.append((point, result))
        if self._is_open:
            self.crossed.append(f"{point} {result.step}")

    async def ask(self, question: Question) -> Reply:
        self._is_open = True
        try:
            return await super().ask(question)
        finally:
            self._is_open = False


class FakeSession:
    """A session whose devices are all there, and say what the script says."""

    def __init__(self, script: Scripted) -> None:
        self._script = script

    def add(self, sighting: Sighting) -> None:
        pass

    def merged(self) -> Merged:
        return merge(
            Sighting(source="mdns", seen_at=NOON, mac=point.mac, name=point.name, kind="bare", address="192.0.2.7")
            for point in POINTS
        )

    async def listen(self, seconds: float, *, until: Callable[[Merged], bool] | None = None) -> tuple[()]:
        return ()

    async def read(self, device: Device, point: Point | None) -> Reading:
        return await self._script.read_device(device, point)


@pytest.fixture
def site(tmp_path: Path) -> Site:
    bare = stage(Scripted()).site
    return replace(bare, folder=tmp_path, plan=Plan(points=POINTS), profiles=(BARE,))


def script() -> Modules:
    """A module that has a signal and nothing else, and a person who does what is asked."""
    made = Modules(**{"firmware.version": "2.1.0"})
    made.values = {name: made.values[name] for name in ("net.rssi_dbm", "health.uptime_s", "firmware.version")}
    for _ in POINTS:
        made.when("Fit the plate", "done").when("may the wall be closed", "yes")
    made.when("Switch the circuit off", lambda one: one.gone(1, 5, **{"health.uptime_s": 2}))
    assert set(AT_REST) > {"net.rssi_dbm"}
    return made


def cut_for_good(*points: str) -> Modules:
    """As `script`, but some modules do not come back from the first power cut until the person is told."""
    made = script()

    def cut(one: Scripted) -> None:
        one.gone(1, 5, **{"health.uptime_s": 2})
        made.lost.update(points)

    made.replies.insert(0, ("Switch the circuit off", cut))
    made.each_reading = lambda one: made.lost.clear() if any("broken" in text for text in one.asked) else None
    return made


async def walked(
    site: Site,
    talk: Scripted,
    monkeypatch: pytest.MonkeyPatch,
    *names: str,
    step: str | None = None,
    anew: bool = False,
) -> list[CloseIn]:
    @asynccontextmanager
    async def opened(*_: object) -> AsyncIterator[FakeSession]:
        yield FakeSession(talk)

    monkeypatch.setattr(runner, "open_session", opened)
    points = [point for point in site.plan.points if point.name in names]
    order = Order(points=points, who="A. Fitter", step=step, is_anew=anew, pace=QUICK)
    async with Store.open(site.folder / "pattress.db") as store:
        return await CloseInRunner(site, store, talk, talk.clock, lambda point: []).run(order)


def titles(talk: Scripted) -> list[str]:
    return [one.split(":")[0] for one in talk.said if one.split(":")[0].split(".")[0] in STEPS]


STEPS = ("found", "recognised", "settings", "fit", "radio", "heat", "power-cut", "outside", "sign-off")


async def test_one_point_is_done_in_order_and_signed_off(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    talk = script()

    [check] = await walked(site, talk, monkeypatch, "hall-lights")

    assert titles(talk) == list(STEPS)
    assert [one.step for one in check.results] == list(STEPS)
    assert check.is_signed_off
    assert check.ended_at is not None
    assert {one.step: one.outcome for one in check.results}["power-cut"] == "met"
    async with Store.open(site.folder / "pattress.db") as store:
        signed = await store.signed_off()
    assert signed["mac:02:00:5e:00:53:01"].why == f"close-in check {check.id}"


async def test_several_points_are_one_walk_with_one_power_cut(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    talk = script()

    checks = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    at_the_box = ["found", "recognised", "settings", "fit", "radio", "heat"]
    together = ["power-cut", "power-cut"]
    assert titles(talk) == [*at_the_box, *at_the_box, *together, *(2 * ["outside", "sign-off"])]
    assert [check.is_signed_off for check in checks] == [True, True]
    assert sum("Switch the circuit off" in text for text in talk.asked) == 1, "the person is asked once for both"
    assert sum("switched off and on again at the board" in text for text in talk.cautions) == 1


async def test_the_person_is_asked_to_cut_the_power_only_when_every_module_was_looked_at(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    talk.slow = {"yard-lights"}
    talk.replies.insert(0, ("Switch the circuit off", lambda one: one.gone(0, 60, **{"health.uptime_s": 2})))

    checks = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights", step="power-cut")

    assert [[one.outcome for one in check.results] for check in checks] == [["met"], ["met"]]


async def test_a_power_cut_that_one_point_does_not_survive_is_done_again_there_alone_and_asked_anew(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = cut_for_good("yard-lights").when("broken at yard-lights", "again")

    checks = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    cuts = [(point, one.outcome) for point, one in talk.ended if one.step == "power-cut"]
    assert cuts == [("hall-lights", "met"), ("yard-lights", "broken"), ("yard-lights", "met")]
    assert talk.crossed == [], "no result is said into a question"
    assert [check.is_signed_off for check in checks] == [True, True]
    assert [text for text in talk.asked if "broken" in text] == [
        "It is broken at yard-lights. Mend it and do it again?"
    ]
    assert sum("Switch the circuit off" in text for text in talk.asked) == 2
    assert sum("switched off and on again at the board" in text for text in talk.cautions) == 2


async def test_a_power_cut_that_no_point_survives_is_done_again_at_all_of_them_together(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = cut_for_good("hall-lights", "yard-lights")
    talk.when("broken at hall-lights", "again").when("broken at yard-lights", "again")

    checks = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    outcomes = [one.outcome for _, one in talk.ended if one.step == "power-cut"]
    assert outcomes == ["broken", "broken", "met", "met"]
    assert [check.is_signed_off for check in checks] == [True, True]
    assert sum("Switch the circuit off" in text for text in talk.asked) == 2


@pytest.mark.parametrize(
    ("reply", "steps_after", "last_said"),
    [("on", ["outside", "sign-off"], "A person agrees"), ("stop", [], "Stopped.")],
)
async def test_a_broken_power_cut_of_several_is_left_broken_where_the_person_goes_on_or_stops(
    reply: Reply, steps_after: list[str], last_said: str, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = cut_for_good("yard-lights").when("broken at yard-lights", reply)

    _, yard = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    outcomes = {one.step: one.outcome for one in yard.results}
    assert outcomes["power-cut"] == "broken"
    assert not yard.is_signed_off
    assert [step for step in outcomes if step in ("outside", "sign-off")] == steps_after
    assert any(last_said in text for text in talk.said[-2:])


async def test_a_person_who_stops_at_what_several_points_wait_for_stops_the_whole_walk(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    talk.replies = [("Fit the plate", "done"), ("Fit the plate", "done"), ("Switch the circuit off", "stop")]

    checks = await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    assert "the same command takes it up again" in talk.said[-1]
    assert ["power-cut" in [one.step for one in check.results] for check in checks] == [False, False]


async def test_a_check_that_was_stopped_goes_on_with_what_is_left(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    stops = script()
    stops.replies = [("Fit the plate", "stop")]
    [stopped] = await walked(site, stops, monkeypatch, "hall-lights")
    again = script()

    [check] = await walked(site, again, monkeypatch, "hall-lights")

    assert (stopped.ended_at, [one.step for one in stopped.results]) == (None, list(STEPS[:4]))
    assert "the same command takes it up again" in stops.said[-1]
    assert check.id == stopped.id
    assert titles(again) == list(STEPS), "what asks nothing is looked at again"
    assert check.is_signed_off


async def test_a_step_is_kept_with_its_samples_though_the_next_is_never_done(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops = script()
    stops.replies = [("Fit the plate", "done"), ("Switch the circuit off", "stop")]

    [stopped] = await walked(site, stops, monkeypatch, "hall-lights")

    radio = next(one for one in stopped.results if one.step == "radio")
    assert len([one for one in radio.samples if one.name == "net.rssi_dbm"]) >= 2 * QUICK.radio_readings


async def test_what_was_read_in_a_step_that_is_stopped_or_cut_short_is_kept(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(one: Scripted) -> Reply:
        raise asyncio.CancelledError

    stops, ends = script(), script()
    stops.replies, ends.replies = [("Fit the plate", "stop")], [("Fit the plate", interrupt)]

    [check] = await walked(site, stops, monkeypatch, "hall-lights")
    with pytest.raises(asyncio.CancelledError):
        await walked(site, ends, monkeypatch, "hall-lights")

    async with Store.open(site.folder / "pattress.db") as store:
        samples = await store.samples_of(check.id, "radio")
    levels = [one for one in samples if one.name == "net.rssi_dbm"]
    assert len(levels) == 2 * (1 + QUICK.radio_readings), "of both tries"


async def test_a_result_that_a_full_disk_refuses_is_kept_when_there_is_room(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script().when("could not be kept", "again").when("Switch the circuit off", "stop")
    talk.replies = [one for one in talk.replies if not callable(one[1])]
    kept, refused = Store.keep_step, list[str]()

    async def keep_step(self: Store, number: int, result: StepResult) -> int:
        if result.step == "radio" and not refused:
            refused.append(result.step)
            raise StoreError("the disk is full", where="pattress.db", next_step="Make room")
        return await kept(self, number, result)

    monkeypatch.setattr(Store, "keep_step", keep_step)

    [check] = await walked(site, talk, monkeypatch, "hall-lights")

    assert refused == ["radio"]
    assert any("the disk is full" in text for text in talk.asked)
    assert sum("Fit the plate" in text for text in talk.asked) == 1, "the step itself is not done again"
    assert {one.step: one.outcome for one in check.results}["radio"] == "met"


async def test_a_result_of_a_walk_that_a_full_disk_refuses_is_asked_about_each_time(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    for reply in ("again", "again", "stop"):
        talk.when("could not be kept", reply)  # type: ignore[arg-type]
    kept, refused = Store.keep_step, list[str]()

    async def keep_step(self: Store, number: int, result: StepResult) -> int:
        if result.step == "power-cut" and number == 2:
            refused.append(result.step)
            assert len(refused) < 9, "nobody is asked"
            raise StoreError("the disk is full", where="pattress.db", next_step="Make room")
        return await kept(self, number, result)

    monkeypatch.setattr(Store, "keep_step", keep_step)

    await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    assert len(refused) == 3
    assert sum("could not be kept" in text for text in talk.asked) == 3
    assert "the same command takes it up again" in talk.said[-1]


async def test_who_stops_while_the_disk_is_full_stops_in_order(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    talk = script()
    talk.replies.insert(0, ("Switch the circuit off", "stop"))

    async def keep_samples(*_: object) -> int:
        raise StoreError("the disk is full", where="pattress.db", next_step="Make room")

    monkeypatch.setattr(Store, "keep_samples", keep_samples)

    await walked(site, talk, monkeypatch, "hall-lights", "yard-lights")

    assert any("What was read in power-cut is lost: " in text for text in talk.said)
    assert "the same command takes it up again" in talk.said[-1]


async def test_a_fault_at_one_of_several_points_is_that_fault_itself(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads = Store.close_in

    async def close_in(self: Store, number: int) -> CloseIn:
        check = await reads(self, number)
        if any(one.step == "power-cut" for one in check.results):
            raise StoreError("it is damaged", where="pattress.db", next_step="See to it")
        return check

    monkeypatch.setattr(Store, "close_in", close_in)

    with pytest.raises(StoreError, match="it is damaged"):
        await walked(site, script(), monkeypatch, "hall-lights", "yard-lights")


def appears(*sightings: Sighting) -> Callable[[pytest.MonkeyPatch], None]:
    """Modules that are heard when it is listened for them, and not before."""

    def patch(monkeypatch: pytest.MonkeyPatch) -> None:
        heard: list[Sighting] = []

        async def listen(self: object, seconds: float, *, until: object = None) -> tuple[()]:
            heard[:] = sightings
            return ()

        monkeypatch.setattr(FakeSession, "merged", lambda self: merge(heard))
        monkeypatch.setattr(FakeSession, "listen", listen)

    return patch


def sighting(number: int, kind: str = "bare") -> Sighting:
    mac = f"02:00:5e:00:53:9{number}"
    return Sighting(source="mdns", seen_at=NOON, mac=mac, name=f"new-{number}", kind=kind, address=f"192.0.2.{number}")


@pytest.fixture
def unbound(site: Site) -> Site:
    """The site with a point that does not say which module stands there."""
    return replace(site, plan=Plan(points=(replace(POINTS[0], mac=None),)))


async def test_a_module_that_is_up_already_is_found_where_it_is_the_one_new_of_its_kind(
    unbound: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    appears(sighting(1), sighting(2, kind="twin"))(monkeypatch)

    [check] = await walked(unbound, talk, monkeypatch, "hall-lights", step="found")

    assert (check.device, [one.outcome for one in check.results]) == ("mac:02:00:5e:00:53:91", ["met"])
    assert "put 02:00:5e:00:53:91 into points.toml" in check.results[0].sentence
    assert "its circuit is live" in talk.cautions[0]


async def test_a_check_is_taken_up_with_the_module_that_it_was_begun_with_and_no_other(
    unbound: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    appears(sighting(1))(monkeypatch)
    await walked(unbound, script(), monkeypatch, "hall-lights", step="found")

    appears(sighting(1), sighting(2))(monkeypatch)
    [same] = await walked(unbound, script(), monkeypatch, "hall-lights", step="found")
    bound = replace(unbound, plan=Plan(points=(replace(unbound.plan.points[0], mac="02:00:5e:00:53:92"),)))
    [other] = await walked(bound, script().when("It is broken", "on"), monkeypatch, "hall-lights", step="found")

    assert (same.device, same.results[0].outcome) == ("mac:02:00:5e:00:53:91", "met")
    assert (other.device, other.results[0].outcome) == ("mac:02:00:5e:00:53:91", "broken")
    assert "another module than the one with which this check was begun" in other.results[0].sentence


async def test_another_module_is_not_gone_on_with_where_a_caution_is_not_heeded(
    unbound: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    appears(sighting(1))(monkeypatch)
    await walked(unbound, script(), monkeypatch, "hall-lights", step="found")
    talk = script()
    talk.heeds = False
    appears(sighting(2))(monkeypatch)
    bound = replace(unbound, plan=Plan(points=(replace(unbound.plan.points[0], mac="02:00:5e:00:53:92"),)))

    [check] = await walked(bound, talk, monkeypatch, "hall-lights")

    assert [(one.step, one.outcome) for one in check.results] == [("found", "skipped")]
    assert (check.device, check.is_signed_off) == ("mac:02:00:5e:00:53:91", False)


async def test_steps_that_rest_on_a_plan_that_was_changed_since_are_done_again(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops = script()
    stops.replies = [("Fit the plate", "done"), ("Switch the circuit off", "stop")]
    await walked(site, stops, monkeypatch, "hall-lights")
    circuit = Circuit(voltage_v=230)
    replanned = replace(site, plan=Plan(points=(replace(POINTS[0], circuit=circuit, room="Landing"),)))
    again = script()

    [check] = await walked(replanned, again, monkeypatch, "hall-lights", step="sign-off")

    assert check.planned["room"] == "Landing"
    assert check.planned["circuit.voltage_v"] == 230
    heat, radio = (next(one for one in check.results if one.step == name) for name in ("heat", "radio"))
    assert (heat.outcome, heat.number, "the plan was changed since" in heat.sentence) == ("broken", 2, True)
    assert (radio.outcome, radio.number) == ("met", 1)
    assert not check.is_signed_off
    assert "The plan of hall-lights was changed since. To be done again: heat." in again.said


async def test_a_step_that_the_plan_has_no_more_does_not_keep_a_check_from_its_end(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    driving = replace(POINTS[0], drives=(Drive(input=1, channel="output.1", point="yard-lights"),))
    drives = replace(site, plan=Plan(points=(driving, POINTS[1])))
    stops = script().when("It is broken", "stop")
    monkeypatch.setattr(switch_steps, "driven", broken)

    [stopped] = await walked(drives, stops, monkeypatch, "hall-lights")
    [check] = await walked(site, script(), monkeypatch, "hall-lights")
    async with Store.open(site.folder / "pattress.db") as store:
        tries = [one.outcome for one in await store.tries_of(stopped.id) if one.step == "drive.1"]

    assert check.id == stopped.id
    assert tries == ["broken", "skipped"]
    dropped = next(one for one in check.results if one.step == "drive.1")
    assert dropped.sentence == "it was broken, and the plan has it no more"
    assert check.is_signed_off


async def test_a_step_that_the_plan_has_again_is_done_again(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    driving = replace(POINTS[0], drives=(Drive(input=1, channel="output.1", point="yard-lights"),))
    drives = replace(site, plan=Plan(points=(driving, POINTS[1])))
    monkeypatch.setattr(switch_steps, "driven", broken)
    await walked(drives, script().when("It is broken", "stop"), monkeypatch, "hall-lights", step="drive.1")
    await walked(site, script(), monkeypatch, "hall-lights", step="fit")

    [check] = await walked(drives, script(), monkeypatch, "hall-lights", step="fit")

    drive = next(one for one in check.results if one.step == "drive.1")
    assert (drive.outcome, "to be done again" in drive.sentence) == ("broken", True)


async def broken(*_: object) -> Ended:
    return Ended(outcome="broken", sentence="it did not answer")


async def test_before_a_hand_goes_into_the_box_to_mend_something_the_person_is_warned(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = cut_for_good("hall-lights").when("It is broken", "on")

    await walked(site, talk, monkeypatch, "hall-lights", step="power-cut")

    assert (
        "have to be mended in the box. Before a box is opened: switch the circuit off, lock it off" in talk.cautions[-1]
    )


async def test_one_step_after_a_sign_off_begins_a_new_check_and_says_so(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    await walked(site, script(), monkeypatch, "hall-lights")
    talk = script()

    [check] = await walked(site, talk, monkeypatch, "hall-lights", step="recognised")

    assert "No check of hall-lights is open: a new one begins, with recognised alone." in talk.said
    assert [one.step for one in check.results] == ["recognised"]


async def test_whoever_ends_the_program_is_told_that_all_is_kept(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    talk, is_asked = script(), asyncio.Event()
    talk.replies = [("Fit the plate", lambda _: is_asked.set())]  # and nobody answers

    walking = asyncio.create_task(walked(site, talk, monkeypatch, "hall-lights"))
    await is_asked.wait()
    walking.cancel()
    with pytest.raises(asyncio.CancelledError):
        await walking

    assert talk.said[-1] == "Stopped. What was done is kept; the same command takes it up again."


async def test_begun_anew_the_old_check_stays_as_given_up(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    stops = script()
    stops.replies = [("Fit the plate", "stop")]
    [stopped] = await walked(site, stops, monkeypatch, "hall-lights")

    [check] = await walked(site, script(), monkeypatch, "hall-lights", anew=True)

    assert check.id != stopped.id
    async with Store.open(site.folder / "pattress.db") as store:
        given_up = await store.close_in(stopped.id)
    assert (given_up.is_signed_off, given_up.ended_at is not None) == (False, True)


async def test_a_broken_step_can_be_done_again_at_once_and_is_then_met(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    del talk.values["firmware.version"]
    talk.values["mac"] = "02:00:5e:00:53:99"

    def mend(one: Scripted) -> None:
        del one.values["mac"]

    talk.replies.insert(0, ("It is broken. Mend it", "again"))
    talk.each_reading = lambda one: mend(one) if "mac" in one.values and any("broken" in a for a in one.asked) else None

    [check] = await walked(site, talk, monkeypatch, "hall-lights")

    outcomes = [one.outcome for one in talk.results if one.step == "recognised"]
    assert outcomes == ["broken", "unverified"]
    assert {one.step: one.outcome for one in check.results}["recognised"] == "unverified"


async def test_a_step_alone_does_not_make_a_whole_check_and_the_sign_off_says_so(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()

    [check] = await walked(site, talk, monkeypatch, "hall-lights", step="sign-off")

    assert check.is_signed_off
    assert "Not shown: found (not done), recognised (not done)" in talk.asked[-1]
    assert status_of_checks([check]) == UNVERIFIED
    assert check_text([check], Style()).splitlines()[1].startswith("  not done: found, recognised, ")


@pytest.mark.parametrize(("step", "kept"), [(None, [("found", "skipped")]), ("sign-off", []), ("heat", [])])
async def test_where_no_module_was_found_nothing_else_is_kept_as_done_nor_signed_off(
    step: str | None, kept: list[tuple[str, str]], site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    talk.heeds = False
    monkeypatch.setattr(FakeSession, "merged", lambda self: merge([]))

    [check] = await walked(site, talk, monkeypatch, "hall-lights", step=step)

    assert [(one.step, one.outcome) for one in check.results] == kept
    assert not check.is_signed_off


async def test_a_walk_that_stops_for_want_of_a_module_says_at_which_point(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script()
    there = FakeSession.merged
    monkeypatch.setattr(FakeSession, "merged", lambda self: replace(there(self), devices=there(self).devices[:1]))

    await walked(site, talk, monkeypatch, "hall-lights", "yard-lights", step="power-cut")

    assert "The module at yard-lights was not found: do the step `found` first." in talk.said


async def test_what_a_module_did_outside_is_not_offered_again_in_a_check_that_remembers_it(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = script().when("It is broken", "on")
    monkeypatch.setattr(end_steps, "outside", lambda *_: Ended(outcome="broken", sentence="it reached 203.0.113.9"))

    [check] = await walked(site, talk, monkeypatch, "hall-lights", step="outside")

    assert check.results[-1].outcome == "broken"
    assert "stays so in this check: mend it, and begin anew with --anew" in talk.asked[-1]
