"""The steps of the inputs: each wall switch is seen, is the right one, the right way round, and moves what it should.

What belongs here: these steps. What does not: telling kinds of contacts from edges (`contacts`).
"""

import asyncio
from collections.abc import Callable, Collection
from datetime import datetime
from itertools import pairwise

from pattress.closein.cautions import LIVE_SWITCH, MOVES
from pattress.closein.channels import channel_named, input_names, moved
from pattress.closein.contacts import ASKED, QUIET_S, contact_kind, edges, hold_s, instruction
from pattress.closein.stage import Ended, Heard, Stage
from pattress.closein.talk import Question
from pattress.model.circuit import Drive
from pattress.model.plan import Point
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.model.vocabulary import Value

EARLY_S = 2.0  # what a switch drives may be seen to move so much sooner: the two modules do not answer at one moment
ONE_MOVE_S = 5.0  # what is seen to have moved again sooner goes on; a shutter of two minutes moves 2 % in 2.4 s
SLOW_S = 8.0  # how long a hand may pause between two presses

Trace = dict[str, list[tuple[float, bool]]]


async def switch(stage: Stage, number: int) -> Ended:
    """The switch of an input is operated, and seen: that input moves, no other, as the planned contact does."""
    names = list(input_names(stage.profile))
    own = f"input.{number}.closed"
    asked_at = stage.clock()
    resting = await stage.read(names)
    spacing_s = (stage.clock() - asked_at).total_seconds()
    if not isinstance(resting, Snapshot) or own not in resting.values:
        reason = "the module does not answer" if not isinstance(resting, Snapshot) else f"it does not report {own}"
        return Ended(outcome="unverified", sentence=reason)
    await stage.confirm(LIVE_SWITCH)
    began_at = stage.clock()
    # From the resting state on: a quick hand operates before the next reading.
    trace: Trace = {name: [] for name in names}
    for name in names:
        rest = resting.values.get(name)
        if rest is not None and isinstance(rest.value, bool):
            trace[name].append((0.0, rest.value))

    def look(reading: Reading) -> bool:
        if isinstance(reading, Snapshot):
            seconds = (reading.taken_at - began_at).total_seconds()
            for name in names:
                reported = reading.values.get(name)
                if reported is not None and isinstance(reported.value, bool):
                    trace[name].append((seconds, reported.value))
        return _is_enough(trace)

    text = instruction(number, spacing_s + stage.pace.poll_s)
    reply = await stage.until(Question(text=text), look, names, limit_s=stage.pace.switch_s)
    if reply == "done":
        await _settle(stage, look, names)
    return await _told(stage, number, trace, reply)


def _is_enough(trace: Trace) -> bool:
    """Whether an input moved as often as was asked for, and rests since then.

    A push moves twice each time, so that after two presses it has moved often enough for a maintained switch: who is
    slow with the third is given longer.
    """
    for samples in trace.values():
        found = edges(samples)
        is_plain = len(found) >= 2 * ASKED or (len(found) >= ASKED and len(found) % 2 == 1)
        if len(found) >= ASKED and samples[-1][0] - found[-1].at_s >= (QUIET_S if is_plain else SLOW_S):
            return True
    return False


async def _settle(stage: Stage, look: Callable[[Reading], bool], names: Collection[str]) -> None:
    """Read a little longer: the person was quicker than the module."""
    began_at = stage.clock()
    while (stage.clock() - began_at).total_seconds() < QUIET_S:
        if look(await stage.read(names)):
            return
        await asyncio.sleep(stage.pace.poll_s)


async def _told(stage: Stage, number: int, trace: Trace, reply: Heard) -> Ended:
    own = f"input.{number}.closed"
    found = {name: edges(samples) for name, samples in trace.items()}
    others = [name for name, seen in found.items() if seen and name != own]
    facts: dict[str, Value] = {"edges": len(found[own]), "readings": len(trace[own])}
    if not found[own]:
        if others:
            moving = " and ".join(name.removesuffix(".closed") for name in others)
            return Ended(outcome="broken", sentence=f"{moving} moved, and not input {number}", facts=facts)
        within = f" within {stage.pace.switch_s:.0f} s" if reply == "late" else ""
        sentence = f"nothing moved{within}: the wire, or the switch"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    if others:
        moving = " and ".join(name.removesuffix(".closed") for name in others)
        return Ended(outcome="broken", sentence=f"{moving} moved with input {number}", facts=facts)
    facts["first_edge_s"] = round(found[own][0].at_s, 2)
    told = contact_kind(trace[own], ASKED, sampled_every_s=_spacing_s(trace[own]))
    facts["contact"] = told.kind
    planned = stage.point.settings.get(f"input.{number}.contact")
    if told.kind == "not sure":
        return Ended(outcome="unverified", sentence=f"input {number} moved, but {told.reason}", facts=facts)
    if planned is not None and told.kind != planned:
        sentence = f"the switch of input {number} is {told.kind}, and the plan says {planned}: {told.reason}"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    return await _way_round(stage, number, told.kind, facts)


async def _way_round(stage: Stage, number: int, kind: str, facts: dict[str, Value]) -> Ended:
    """Whether the input says closed when the switch is on. A push rests open; a maintained switch is set on for it."""
    own = f"input.{number}.closed"
    if kind == "maintained":
        await stage.ask(
            Question(
                text=f"Set the switch of input {number} to ON, and leave it there.", replies=("done", "skip", "stop")
            )
        )
    readings = await stage.gathered(2, [own])
    closed = [one.values[own].value for one in readings if own in one.values]
    if not closed:
        return Ended(outcome="unverified", sentence="it stopped answering", facts=facts)
    expected = kind == "maintained"
    facts["is_inverted"] = closed[-1] is not expected
    planned = stage.point.settings.get(f"input.{number}.contact") or kind
    if closed[-1] is not expected:
        state = "with the switch on" if kind == "maintained" else "at rest"
        is_closed = "closed" if closed[-1] else "open"
        return Ended(outcome="broken", sentence=f"input {number} is {is_closed} {state}: it is inverted", facts=facts)
    return Ended(outcome="met", sentence=f"input {number} was seen, and is {planned}", facts=facts)


def _spacing_s(samples: list[tuple[float, bool]]) -> float:
    """The usual time between two readings."""
    gaps = sorted(later[0] - earlier[0] for earlier, later in pairwise(samples))
    return gaps[len(gaps) // 2] if gaps else 1.0


async def driven(stage: Stage, drive: Drive) -> Ended:
    """What an input is planned to drive answers when its switch is operated."""
    point = next((one for one in stage.site.plan.points if one.name == drive.point), stage.point)
    profile = stage.site.profile(point.kind)
    if profile is None:
        return Ended(outcome="unverified", sentence=f"no profile knows what stands at {point.name}")
    channel = channel_named(drive.channel, profile, point)
    before = await _read_at(stage, point, [channel.state])
    if channel.can_move or channel.hazards:
        await stage.confirm(MOVES)
        before = await _read_at(stage, point, [channel.state])  # it may have moved while the caution was read
    if channel.is_at_end(before):
        await stage.ask(Question(text=f"The shutter at {point.name} stands at its end. Run it half-way. Done?"))
        before = await _read_at(stage, point, [channel.state])
    if not isinstance(before, Snapshot) or channel.state not in before.values:
        reason = before.reason if not isinstance(before, Snapshot) else f"it does not report {channel.state}"
        return Ended(outcome="unverified", sentence=f"{point.name}: {reason}")
    is_own = point.name == stage.point.name
    answer = _Answer(f"input.{drive.input}.closed", channel.state, stage.pace.answer_s)
    answer.take(before if is_own else await stage.read([answer.switch]), before)

    async def read(names: Collection[str]) -> Reading:
        if is_own:
            own = there = await stage.read([answer.switch, *names])
        else:
            own, there = await asyncio.gather(stage.read([answer.switch]), _read_at(stage, point, names))
        answer.take(own, there)
        return there

    def look(_reading: Reading) -> bool:
        return answer.seconds is not None

    asked_at = stage.clock()
    await read([channel.state])
    held_s = hold_s((stage.clock() - asked_at).total_seconds() + stage.pace.poll_s)
    where = f"{drive.channel} at {point.name} ({channel.feeds})"
    once = f"Operate the switch of input {drive.input} once: {where} must answer."
    text = f"{once} If it springs back, hold it for {held_s:.0f} s."
    reply = await stage.until_read(Question(text=text), read, look, [channel.state], limit_s=stage.pace.switch_s)
    if reply == "done":  # the person has done it; what it drives has a little time
        await stage.until_read(
            Question(text="Waiting for it ...", replies=("skip", "stop")), read, look, [channel.state],
            limit_s=stage.pace.answer_s,
        )  # fmt: skip
    what = f"{drive.channel} at {point.name}"
    if answer.seconds is not None:
        facts: dict[str, Value] = {"answered_after_s": round(answer.seconds, 1)}
        return Ended(outcome="met", sentence=f"{what} answered", facts=facts)
    if answer.has_moved:
        why = "another hand, or too short a press" if answer.is_reported else "the module does not report it"
        return Ended(outcome="unverified", sentence=f"{what} moved, and not with input {drive.input}: {why}")
    return Ended(outcome="broken", sentence=f"{what} did not answer to input {drive.input}")


class _Answer:
    """Whether what a switch drives moved when the switch did.

    `seconds` is how long after the switch it began to move, None as long as it has not; `has_moved` whether it moved at
    all; `is_reported` whether anything is known of the switch. A shutter that ran or a lamp that faded before, and goes
    on with it, has not answered.
    """

    def __init__(self, switch: str, driven: str, within_s: float) -> None:
        self.switch = switch
        self._within_s = within_s
        self.seconds: float | None = None
        self.has_moved = False
        self._driven = driven
        self._last: dict[str, Value] = {}
        self._moved_at: dict[str, datetime] = {}
        self._began_at: datetime | None = None  # when what is driven began the move that it was last seen in

    @property
    def is_reported(self) -> bool:
        return self.switch in self._last

    def take(self, own: Reading, there: Reading) -> None:
        """Take in a reading of the switch's module and one of what it drives, which were asked for at one moment."""
        at = max(own.taken_at, there.taken_at)
        self._take(self.switch, own, at)
        earlier = self._moved_at.get(self._driven)
        if self._take(self._driven, there, at):
            is_one_move = earlier is not None and (at - earlier).total_seconds() < ONE_MOVE_S
            if isinstance(self._last[self._driven], bool) or not is_one_move:
                self._began_at = at
        self.has_moved = self._driven in self._moved_at
        if self._began_at is not None and self.switch in self._moved_at and self.seconds is None:
            seconds = (self._began_at - self._moved_at[self.switch]).total_seconds()
            if -EARLY_S <= seconds <= self._within_s:
                self.seconds = max(seconds, 0.0)

    def _take(self, name: str, reading: Reading, at: datetime) -> bool:
        """Take in a value, and return whether it is another than when it last counted as moved."""
        reported = reading.values.get(name) if isinstance(reading, Snapshot) else None
        if reported is None:
            return False
        has_moved = moved(self._last.get(name), reported.value)
        if has_moved:
            self._moved_at[name] = at
        if has_moved or name not in self._last:
            self._last[name] = reported.value
        return has_moved


async def _read_at(stage: Stage, point: Point, names: Collection[str]) -> Reading:
    """Read the module at this point or at another one."""
    if point.name == stage.point.name:
        return await stage.read(names)
    device = stage.other_devices.get(point.name)
    if device is None:
        return Unreadable(device=point.name, kind=point.kind, taken_at=stage.clock(), reason="it was not seen")
    return stage.keep(await stage.read_device(device, point), names, prefix=f"{point.name}:")
