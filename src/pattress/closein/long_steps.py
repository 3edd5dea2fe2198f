"""The steps that take minutes: radio with the plate on, heat under load, a power cut.

What belongs here: these steps. What does not: fitting a rise and judging a level (`circuit`).
"""

import asyncio
import statistics
from collections.abc import Sequence

from pattress.circuit.heat import FEWEST_SAMPLES, Rise, Scaled, decide, fit_rise, scale
from pattress.circuit.radio import judge_radio
from pattress.closein.cautions import HOT, PLATE, POWER_CUT
from pattress.closein.channels import Channel, channels_of
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value

RSSI, TEMPERATURE, UPTIME = "net.rssi_dbm", "health.temperature_c", "health.uptime_s"
HEAT_MARGIN_K = 5.0  # below the limit at which the module sheds its load (common practice: sensors differ by as much)
LEAST_HEAT_S = 60.0  # before which no rise is believed
MAX_ROOM_C = 60.0


async def radio(stage: Stage) -> Ended:
    """The module is heard well enough with the plate on."""
    first = await stage.read([RSSI])
    if not isinstance(first, Snapshot) or RSSI not in first.values:
        reason = first.reason if not isinstance(first, Snapshot) else f"it does not report {RSSI}"
        return Ended(outcome="unverified", sentence=reason)
    stage.talk.say("Measuring the signal as it is now, with the plate off ...")
    off = _numbers(await stage.gathered(stage.pace.radio_readings, [RSSI]), RSSI)
    await stage.confirm(PLATE)
    await stage.ask(Question(text="Fit the plate, switch the circuit on again, and stand back. Done?"))
    back = await stage.until(
        Question(text="Waiting for the module to answer ...", replies=("skip", "stop")),
        lambda reading: isinstance(reading, Snapshot), [RSSI], limit_s=stage.pace.return_s,
    )  # fmt: skip
    if back == "late":
        return Ended(
            outcome="broken", sentence=f"it did not answer within {stage.pace.return_s:.0f} s with the plate on"
        )
    stage.talk.say("Measuring it with the plate on ...")
    on = _numbers(await stage.gathered(stage.pace.radio_readings, [RSSI]), RSSI)
    lost = 1 - len(on) / stage.pace.radio_readings
    verdict = judge_radio(on, off, lost_share=lost)
    facts: dict[str, Value] = {"readings_lost_share": round(lost, 3)}
    for name, level in (("on", verdict.on), ("off", verdict.off)):
        if level is not None:
            facts[f"{name}_dbm"] = round(level.mean_dbm, 1)
    if verdict.margin_db is not None:
        facts["margin_db"] = round(verdict.margin_db, 1)
    if verdict.plate is not None:
        facts["plate_db"] = round(verdict.plate.loss_db, 1)
    return Ended(outcome=verdict.outcome, sentence=verdict.sentence, facts=facts)


async def heat(stage: Stage) -> Ended:
    """The module will settle below its limit, under the planned load, in the warmest room that is planned."""
    first = await stage.read([TEMPERATURE])
    limit_c = _limit_c(first)
    if not isinstance(first, Snapshot) or TEMPERATURE not in first.values:
        reason = first.reason if not isinstance(first, Snapshot) else f"it does not report {TEMPERATURE}"
        return Ended(outcome="unverified", sentence=reason)
    if limit_c is None:
        return Ended(outcome="unverified", sentence="the module tells no temperature at which it sheds its load")
    await stage.confirm(HOT)
    room_c = await _room_c(stage)
    channels = channels_of(stage.profile, stage.point)
    fed = " and ".join(one.feeds for one in channels)
    await stage.ask(Question(text=f"Switch on all that it feeds ({fed}), and leave it on. Done?"))
    return await _watch(stage, channels, limit_c, room_c)


async def _room_c(stage: Stage) -> float | None:
    text = await stage.talk.words("How warm is the room, in degrees Celsius? (Enter where you do not know)")
    try:
        room_c = float(text.replace(",", "."))
    except ValueError:
        return None
    return room_c if -20 <= room_c <= MAX_ROOM_C else None


async def _watch(stage: Stage, channels: Sequence[Channel], limit_c: float, room_c: float | None) -> Ended:
    names = [TEMPERATURE, *(one.state for one in channels), *(one.meter for one in channels if one.meter)]
    began_at = stage.clock()
    rise: list[tuple[float, float]] = []
    powers: list[float] = []
    shed: list[str] = []
    were_on: set[str] = set()

    def look(reading: Reading) -> bool:
        if not isinstance(reading, Snapshot):
            return False
        seconds, value = (reading.taken_at - began_at).total_seconds(), reading.values.get(TEMPERATURE)
        if value is not None and isinstance(value.value, int | float) and (not rise or seconds > rise[-1][0]):
            rise.append((seconds, float(value.value)))
        meters = [one.meter for one in channels if one.meter is not None and one.meter in reading.values]
        power_w = [reading.values[name].value for name in meters]
        powers.append(sum(float(one) for one in power_w if isinstance(one, int | float)))
        for channel in channels:
            state = reading.values.get(channel.state)
            if state is not None and channel.name != "shutter":
                if channel.is_on(state.value):
                    were_on.add(channel.name)
                elif channel.name in were_on:
                    shed.append(channel.name)
        return bool(shed) or _decision(stage, rise, powers, limit_c, room_c)[0] != "needs more time"

    minutes = stage.pace.heat_s / 60
    text = f"Leave it on. The heat is watched until it is clear, {minutes:g} minutes at most."
    await stage.until(Question(text=text, replies=("skip", "stop")), look, names, limit_s=stage.pace.heat_s)
    decision, predicted = _decision(stage, rise, powers, limit_c, room_c)
    facts: dict[str, Value] = {"limit_c": limit_c, "readings": len(rise), "load_w": round(_median(powers), 1)}
    if rise:
        facts |= {"first_c": rise[0][1], "last_c": rise[-1][1], "watched_s": round(rise[-1][0])}
    if shed:
        sentence = f"{' and '.join(dict.fromkeys(shed))} went off while it was watched: the module shed its load"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    if not channels or (not were_on and any(one.name != "shutter" for one in channels)):
        return Ended(outcome="unverified", sentence="nothing was switched on, so that nothing got warm", facts=facts)
    if predicted is None:
        return Ended(outcome="unverified", sentence="too little was read for a prediction", facts=facts)
    facts |= {
        "settles_c": round(predicted.settles_c, 1),
        "low_c": round(predicted.low_c, 1),
        "high_c": round(predicted.high_c, 1),
    }
    where = f"{predicted.settles_c:.0f} C ({predicted.low_c:.0f} to {predicted.high_c:.0f} C with 90 %)"
    under = f"; {predicted.assumption}" if isinstance(predicted, Scaled) else ""
    if decision == "above":
        sentence = f"it will settle at {where}, and sheds its load at {limit_c:g} C{under}"
        return Ended(outcome="broken", sentence=sentence, facts=facts)
    if decision == "below":
        sentence = f"it will settle at {where}, {HEAT_MARGIN_K:g} K or more below {limit_c:g} C{under}"
        return Ended(outcome="met", sentence=sentence, facts=facts)
    sentence = f"it needs more time: it may settle at {where}, and sheds its load at {limit_c:g} C{under}"
    return Ended(outcome="unverified", sentence=sentence, facts=facts)


def _decision(
    stage: Stage, rise: Sequence[tuple[float, float]], powers: Sequence[float], limit_c: float, room_c: float | None
) -> tuple[str, Rise | Scaled | None]:
    """What can be told so far, and the prediction that it rests on."""
    if len(rise) < FEWEST_SAMPLES or rise[-1][0] - rise[0][0] < LEAST_HEAT_S:
        return "needs more time", None
    if rise[-1][1] >= limit_c:
        return "above", fit_rise(rise)
    fitted = fit_rise(rise)
    predicted: Rise | Scaled = fitted
    circuit = stage.point.circuit
    planned_w = sum(one.total_w for one in circuit.loads) if circuit is not None else 0.0
    test_w = _median(powers)
    has_load = planned_w > 0 and test_w > 0
    has_room = circuit is not None and room_c is not None
    if has_load or has_room:
        predicted = scale(
            fitted,
            test_load_w=test_w if has_load else None,
            planned_load_w=planned_w if has_load else None,
            ambient_c=room_c if has_room else None,
            planned_ambient_c=circuit.ambient_c if circuit is not None and has_room else None,
        )
    return decide(predicted, limit_c, margin_k=HEAT_MARGIN_K), predicted


def _limit_c(reading: Reading) -> float | None:
    """The lowest temperature at which an output of the module sheds its load."""
    if not isinstance(reading, Snapshot):
        return None
    limits = [one.value for name, one in reading.values.items() if name.endswith(".over_temperature.limit_c")]
    return min((float(one) for one in limits if isinstance(one, int | float)), default=None)


async def power_cut(stage: Stage) -> Ended:
    """The module comes back after a power cut, and its outputs as planned."""
    names = ["output", "input", UPTIME, "health.restarts"]
    before = await stage.read(names)
    if not isinstance(before, Snapshot):
        return Ended(outcome="unverified", sentence=before.reason)
    await stage.confirm(POWER_CUT)
    gone_at: list[float] = []
    back: list[Snapshot] = []
    began_at = stage.clock()

    def look(reading: Reading) -> bool:
        seconds = (stage.clock() - began_at).total_seconds()
        if not isinstance(reading, Snapshot):
            gone_at.append(seconds)
        elif gone_at or _has_restarted(before, reading):
            back.append(reading)
        return bool(back)

    text = "Switch the circuit off at the board, wait about ten seconds, and switch it on again."
    reply = await stage.until(
        Question(text=text, replies=("skip", "stop")), look, names, limit_s=stage.pace.switch_s + stage.pace.return_s
    )
    if reply == "late":
        if not gone_at:
            return Ended(outcome="unverified", sentence="it never went away: was this its circuit?")
        return Ended(outcome="broken", sentence=f"it did not come back within {stage.pace.return_s:.0f} s")
    await asyncio.sleep(stage.pace.poll_s)
    after = await stage.read(names)
    return _as_planned(stage, before, after if isinstance(after, Snapshot) else back[-1], gone_at)


def _has_restarted(before: Snapshot, now: Snapshot) -> bool:
    earlier, later = before.values.get(UPTIME), now.values.get(UPTIME)
    if earlier is None or later is None:
        return False
    was_s, is_s = earlier.value, later.value
    return isinstance(was_s, int | float) and isinstance(is_s, int | float) and is_s < was_s


def _as_planned(stage: Stage, before: Snapshot, after: Snapshot, gone_at: Sequence[float]) -> Ended:
    facts: dict[str, Value] = {}
    if gone_at:
        facts["silent_s"] = round(gone_at[-1] - gone_at[0], 1)
    uptime = after.values.get(UPTIME)
    if uptime is not None:
        facts["uptime_s"] = uptime.value
    silent = f"after {facts['silent_s']:g} s of silence" if gone_at else "quicker than it could be missed"
    wrong, unknown = [], []
    for number in range(1, stage.profile.channels.get("output", 0) + 1):
        state, setting = after.values.get(f"output.{number}.on"), f"output.{number}.at_power_up"
        reported = before.values.get(setting)
        planned = stage.point.settings.get(setting, reported.value if reported is not None else None)
        expected = _expected(planned, number, before, after)
        if state is None or expected is None:
            unknown.append(f"output {number}")
        elif state.value is not expected:
            wrong.append(f"output {number} is {'on' if state.value else 'off'}, and should be {planned}")
    if wrong:
        return Ended(outcome="broken", sentence=f"it came back {silent}, but {'; '.join(wrong)}", facts=facts)
    if unknown:
        sentence = f"it came back {silent}; of {', '.join(unknown)} nobody can tell"
        return Ended(outcome="unverified", sentence=sentence, facts=facts)
    return Ended(outcome="met", sentence=f"it came back {silent}, as planned", facts=facts)


def _expected(planned: Value | None, number: int, before: Snapshot, after: Snapshot) -> bool | None:
    """How an output should stand after power came back."""
    if planned in ("off", "on"):
        return planned == "on"
    source = before.values.get(f"output.{number}.on") if planned == "as-before" else None
    source = after.values.get(f"input.{number}.closed") if planned == "as-input" else source
    return source.value if source is not None and isinstance(source.value, bool) else None


def _numbers(readings: Sequence[Snapshot], name: str) -> list[float]:
    values = [one.values[name].value for one in readings if name in one.values]
    return [float(one) for one in values if isinstance(one, int | float) and not isinstance(one, bool)]


def _median(numbers: Sequence[float]) -> float:
    return statistics.median(numbers) if numbers else 0.0
