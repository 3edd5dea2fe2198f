"""The steps of the outputs: each is moved by the person, never by us, and its meter tells what the plan says.

What belongs here: these steps, and how near to the plan is near enough. What does not: fitness of the plan (`fit`).
"""

import statistics

from pattress.closein.cautions import HOT, MOVES
from pattress.closein.channels import Channel
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question, Reply
from pattress.model.plan import Point
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value

# How far from the planned power the meter may be (common practice: lamps are marked to 10 %, meters of modules read
# to 2 to 5 %, and mains stands within 10 % of nominal, which a resistive load feels squared).
NEAR_SHARE = 0.25
NEAR_W = 3.0
OFF_W = 1.0  # what an output that is off may show: the noise of the meter, or a lamp's leakage
OFF_SHARE = 0.02


async def output(stage: Stage, channel: Channel, rated_w: float | None) -> Ended:
    """An output comes on when the person moves it, it alone, and feeds what is planned; off, it feeds near nothing."""
    names = [channel.name, *([channel.meter] if channel.meter else []), "meter", "output"]
    before = await stage.read(names)
    if not isinstance(before, Snapshot) or channel.state not in before.values:
        reason = before.reason if not isinstance(before, Snapshot) else f"it does not report {channel.state}"
        return Ended(outcome="unverified", sentence=reason)
    if channel.can_move:
        await stage.confirm(MOVES)
    if not channel.can_move or "heats" in channel.hazards:
        await stage.confirm(HOT)
    latest = await stage.read(names)  # it may have been switched while the caution was read
    if isinstance(latest, Snapshot) and channel.state in latest.values:
        before = latest
    if channel.is_on(before.values[channel.state].value) and channel.name != "shutter":
        ended = await _move(stage, channel, names, is_on=False, how="off first")
        if ended is not None:
            return ended
    if channel.name == "shutter":
        return await _run(stage, channel, names, before)
    ended = await _move(stage, channel, names, is_on=True, how=channel.on_words)
    if ended is not None:
        return ended
    on_w = await _power_w(stage, channel, names)
    if on_w is None:
        return await _by_eye(stage, channel, names)
    ended = await _move(stage, channel, names, is_on=False, how="off again")
    if ended is not None:
        return ended
    off_w = await _power_w(stage, channel, names)
    return _judged(channel, on_w, off_w, rated_w)


async def _move(stage: Stage, channel: Channel, names: list[str], *, is_on: bool, how: str) -> Ended | None:
    """Have the person move it, and return how the step ended where it did not move."""
    others: set[str] = set()
    levels: list[Value] = []  # a dimmer fades: what its meter shows counts when it has got there
    first = await stage.read(names)

    def look(reading: Reading) -> bool:
        if not isinstance(reading, Snapshot) or channel.state not in reading.values:
            return False
        others.update(_moved_others(first, reading, channel))
        value = reading.values[channel.state].value
        is_settled = not is_on or channel.name.startswith("output") or value in levels[-1:]
        levels.append(value)
        return channel.is_on(value) is is_on and is_settled

    text = f"Switch {channel.name} ({channel.feeds}) {how}: by its wall switch, its own button, or the automation."
    reply = await stage.until(Question(text=text, replies=("skip", "stop")), look, names, limit_s=stage.pace.output_s)
    with_it = sorted(others - _planned_with(stage.point, channel)) if is_on else []
    if reply == "seen" and with_it:
        return Ended(outcome="broken", sentence=f"{' and '.join(with_it)} moved with {channel.name}")
    if reply == "seen":
        return None
    if others:
        moving = " and ".join(sorted(others))
        return Ended(outcome="broken", sentence=f"{moving} moved, and not {channel.name}")
    return Ended(outcome="broken", sentence=f"{channel.name} did not go {how} within {stage.pace.output_s:.0f} s")


def _moved_others(first: Reading, now: Snapshot, channel: Channel) -> set[str]:
    if not isinstance(first, Snapshot):
        return set()
    return {
        name.removesuffix(".on")
        for name, reported in now.values.items()
        if name.startswith("output.") and name.endswith(".on") and name != channel.state
        and name in first.values and first.values[name].value is not reported.value
        and not channel.name.startswith(("dimmer", "led"))
    }  # fmt: skip


def _planned_with(point: Point, channel: Channel) -> set[str]:
    """The channels that the same switch is planned to move."""
    own = [one for one in point.drives if one.point in (None, point.name)]
    inputs = {one.input for one in own if one.channel == channel.name}
    return {one.channel for one in own if one.input in inputs}


async def _power_w(stage: Stage, channel: Channel, names: list[str]) -> float | None:
    """Return what its meter shows, the median of some readings, or None where it has none."""
    if channel.meter is None:
        return None
    readings = await stage.gathered(stage.pace.meter_readings, names)
    values = [one.values[channel.meter].value for one in readings if channel.meter in one.values]
    numbers = [float(value) for value in values if isinstance(value, int | float) and not isinstance(value, bool)]
    return statistics.median(numbers) if numbers else None


def _judged(channel: Channel, on_w: float, off_w: float | None, rated_w: float | None) -> Ended:
    planned_w = channel.planned_w
    facts: dict[str, Value] = {"on_w": round(on_w, 1)}
    if off_w is not None:
        facts["off_w"] = round(off_w, 1)
    if planned_w is not None:
        facts["planned_w"] = planned_w
    shown = f"{channel.name} takes {on_w:.1f} W"
    if rated_w is not None and on_w > rated_w:
        sentence = f"{shown}, more than the {rated_w:g} W that the module is rated for: switch it off"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    if planned_w is None:
        return Ended(
            outcome="unverified", sentence=f"{shown}, and the plan does not say how much it should", facts=facts
        )
    near_w = max(NEAR_W, NEAR_SHARE * planned_w)
    if abs(on_w - planned_w) > near_w:
        cause = " Is the load connected?" if on_w <= OFF_W else ""
        sentence = f"{shown}, and the plan says {planned_w:g} W, give or take {near_w:.1f} W.{cause}"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    if on_w <= OFF_W:
        sentence = f"{shown} of the planned {planned_w:g} W, too little to be told from nothing. Is the load connected?"
        return Ended(outcome="unverified", sentence=sentence, facts=facts)
    most_off_w = max(OFF_W, OFF_SHARE * planned_w)
    if off_w is None or off_w > most_off_w:
        sentence = "it stopped answering" if off_w is None else f"off, it still takes {off_w:.1f} W"
        return Ended(outcome="unverified" if off_w is None else "broken", sentence=sentence, facts=facts)
    sentence = f"{shown} of the planned {planned_w:g} W (within {near_w:.1f} W), and {off_w:.1f} W when it is off"
    return Ended(outcome="met", sentence=sentence, facts=facts)


async def _by_eye(stage: Stage, channel: Channel, names: list[str]) -> Ended:
    """Where no meter tells, the person does, that it comes on and that it goes off."""
    facts: dict[str, Value] = {"by": "eye"}
    if not await _is_seen(stage, f"Does {channel.feeds} run, and nothing else?"):
        sentence = f"{channel.name} is on, and {channel.feeds} does not run, or something else does"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    ended = await _move(stage, channel, names, is_on=False, how="off again")
    if ended is not None:
        return ended
    if not await _is_seen(stage, f"Has {channel.feeds} stopped?"):
        sentence = (
            f"{channel.name} is off, and {channel.feeds} still runs: it is fed past the module, or its contact sticks"
        )
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    sentence = f"{channel.name} came on, and {channel.feeds} ran; off, it stopped, seen by eye"
    return Ended(outcome="met", sentence=sentence, facts=facts)


async def _is_seen(stage: Stage, question: str) -> bool:
    replies: tuple[Reply, ...] = ("yes", "no", "skip", "stop")
    return await stage.ask(Question(text=f"No meter tells. {question}", replies=replies)) == "yes"


async def _run(stage: Stage, channel: Channel, names: list[str], before: Snapshot) -> Ended:
    """A shutter runs when the person moves it, and its position follows."""
    first = before.values[channel.state].value
    positions: list[float] = []
    powers: list[float] = []

    def look(reading: Reading) -> bool:
        if isinstance(reading, Snapshot):
            position = reading.values.get(channel.state)
            if position is not None and isinstance(position.value, int | float):
                positions.append(float(position.value))
            # Of the two directions one runs, each with a meter of its own where there are two.
            metered = [one.value for name, one in reading.values.items() if _is_power(name)]
            powers.append(max((float(one) for one in metered if isinstance(one, int | float)), default=0.0))
        return len(positions) > 2 and abs(positions[-1] - float(first)) > 5 and positions[-1] == positions[-2]

    text = f"Run the shutter ({channel.feeds}) some way and stop it: by its wall switch, its own button or automation."
    reply = await stage.until(Question(text=text), look, names, limit_s=stage.pace.output_s)
    moved_pct = max((abs(one - float(first)) for one in positions), default=0.0)
    facts: dict[str, Value] = {"moved_pct": moved_pct, "running_w": max(powers, default=0.0)}
    if moved_pct <= 5:
        return Ended(outcome="broken", sentence="the shutter's position did not change", facts=facts)
    if reply == "late":
        return Ended(outcome="unverified", sentence="the shutter ran, and was not stopped", facts=facts)
    if channel.meter is not None:
        return _running(channel, max(powers, default=0.0), facts)
    # Modules reckon a position from the time that they feed the motor, be one there or not.
    if not await _is_seen(stage, f"Did {channel.feeds} run, and nothing else?"):
        sentence = f"its position changed, and {channel.feeds} did not run, or something else did"
        return Ended(outcome="broken", sentence=sentence, facts=facts | {"by": "eye"})
    return Ended(outcome="met", sentence="the shutter ran, seen by eye", facts=facts | {"by": "eye"})


def _is_power(name: str) -> bool:
    return name.startswith("meter.") and name.endswith(".power_w")


def _running(channel: Channel, running_w: float, facts: dict[str, Value]) -> Ended:
    if running_w <= OFF_W:
        sentence = f"its position changed, and it took {running_w:.1f} W. Is the motor connected?"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    planned_w = channel.planned_w
    if planned_w is None:
        return Ended(outcome="met", sentence=f"the shutter ran, and took {running_w:.1f} W", facts=facts)
    near_w = max(NEAR_W, NEAR_SHARE * planned_w)
    if abs(running_w - planned_w) > near_w:
        sentence = (
            f"running, it takes {running_w:.1f} W, and the plan says {planned_w:g} W, give or take {near_w:.1f} W"
        )
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    return Ended(outcome="met", sentence=f"the shutter ran, and took {running_w:.1f} W", facts=facts)
