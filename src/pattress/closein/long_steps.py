"""The steps for which the circuit goes off and on: radio with the plate on, and a power cut.

What belongs here: these steps. What does not: judging a level (`circuit.radio`).
"""

import asyncio
from collections.abc import Mapping, Sequence

from pattress.circuit.radio import judge_radio
from pattress.closein.cautions import PLATE, POWER_CUT
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value

RSSI, UPTIME = "net.rssi_dbm", "health.uptime_s"
LONGER = 3  # times as many readings again, once, where the first do not decide it: the interval is then half as wide
UPTIME_STEP_S = 90.0  # modules count in minutes, and tell it a little later
LEAST_SILENT_S = 5.0  # less is an answer that got lost: half of the ten seconds that are asked for


async def radio(stage: Stage) -> Ended:
    """The module is heard well enough with the plate on."""
    first = await stage.read([RSSI])
    if not isinstance(first, Snapshot) or RSSI not in first.values:
        reason = first.reason if not isinstance(first, Snapshot) else f"it does not report {RSSI}"
        return Ended(outcome="unverified", sentence=reason)
    stage.talk.say("Measuring the signal as it is now, with the plate off ...")
    off = _numbers(await stage.gathered(stage.pace.radio_readings, [RSSI], apart_s=stage.pace.radio_apart_s), RSSI)
    await stage.confirm(PLATE)
    await stage.ask(Question(text="Fit the plate, switch the circuit on again, and stand back. Done?"))
    back = await stage.until(
        Question(text="Waiting for the module to answer ...", replies=("skip", "stop")),
        lambda reading: isinstance(reading, Snapshot), [RSSI], limit_s=stage.pace.return_s,
    )  # fmt: skip
    if back == "late" and not await stage.is_elsewhere():
        return Ended(
            outcome="broken", sentence=f"it did not answer within {stage.pace.return_s:.0f} s with the plate on"
        )
    stage.talk.say("Measuring it with the plate on ...")
    on = _numbers(await stage.gathered(stage.pace.radio_readings, [RSSI], apart_s=stage.pace.radio_apart_s), RSSI)
    asked = stage.pace.radio_readings
    verdict = judge_radio(on, off, lost_share=1 - len(on) / asked)
    if verdict.outcome == "unverified" and verdict.on is not None:
        stage.talk.say("It is too near to the least level to tell: measuring for longer ...")
        more = LONGER * stage.pace.radio_readings
        on += _numbers(await stage.gathered(more, [RSSI], apart_s=stage.pace.radio_apart_s), RSSI)
        asked += more
        verdict = judge_radio(on, off, lost_share=1 - len(on) / asked)
    facts: dict[str, Value] = {"readings_lost_share": round(1 - len(on) / asked, 3)}
    for name, level in (("on", verdict.on), ("off", verdict.off)):
        if level is not None:
            facts[f"{name}_dbm"] = round(level.mean_dbm, 1)
    if verdict.margin_db is not None:
        facts["margin_db"] = round(verdict.margin_db, 1)
    if verdict.plate is not None:
        facts["plate_db"] = round(verdict.plate.loss_db, 1)
    return Ended(outcome=verdict.outcome, sentence=verdict.sentence, facts=facts)


async def power_cut(stage: Stage) -> Ended:
    """The module comes back after a power cut, and its outputs as planned."""
    names = ["output", "input", UPTIME, "health.restarts"]
    before = await stage.read(names)
    if not isinstance(before, Snapshot):
        return Ended(outcome="unverified", sentence=before.reason)
    await stage.confirm(POWER_CUT)
    cut = _Cut(stage, before)
    text = "Switch the circuit off at the board, wait about ten seconds, and switch it on again."
    await stage.until(
        Question(text=text, replies=("skip", "stop")), cut.look, names, limit_s=cut.to_begin_s + stage.pace.return_s
    )
    if cut.back is None and cut.gone_at and await stage.is_elsewhere():
        cut.look(await stage.read(names))
    if cut.back is None:
        if cut.gone_at:
            return Ended(outcome="broken", sentence=f"it did not come back within {stage.pace.return_s:.0f} s")
        missed = "it was missed for a while, but by its own count it did not start anew"
        sentence = f"{missed if cut.missed else 'it never went away'}: was this its circuit?"
        return Ended(outcome="unverified", sentence=sentence)
    await asyncio.sleep(stage.pace.poll_s)
    after = await stage.read(names)
    last, gone_at = cut.gap(cut.back)
    facts = _times(before, cut.back, gone_at)
    return _as_planned(stage, last, after if isinstance(after, Snapshot) else cut.back, facts)


class _Cut:
    """What was read of one module while its circuit was to be cut.

    `latest` is the last that it said, `gone_at` when it was asked since then and did not answer; `missed` the same of
    the last silence before, after which it did not prove to have started anew, as where not its circuit was cut but
    that of an access point.
    """

    def __init__(self, stage: Stage, before: Snapshot) -> None:
        self.latest = before
        self.back: Snapshot | None = None
        self.gone_at: list[float] = []
        self.missed: tuple[Snapshot, list[float]] | None = None
        self.to_begin_s = stage.pace.switch_s + stage.pace.return_s
        self._stage = stage
        self._before = before
        self._answered_at = before.taken_at
        self._began_at = stage.clock()

    def look(self, reading: Reading) -> bool:
        """Take a reading in, and return whether it is back, or late."""
        seconds = (self._stage.clock() - self._began_at).total_seconds()
        if not isinstance(reading, Snapshot):
            self.gone_at.append(seconds)
        elif _uptime_since_s(self._before, reading) is not None or (self.gone_at and self._may_be_new(reading)):
            self.back = reading
        else:
            if self.gone_at:
                self.missed, self._answered_at = (self.latest, self.gone_at), reading.taken_at
            self.latest, self.gone_at = reading, []
        is_late = seconds - self.gone_at[0] > self._stage.pace.return_s if self.gone_at else seconds > self.to_begin_s
        return self.back is not None or is_late

    def gap(self, back: Snapshot) -> tuple[Snapshot, list[float]]:
        """The last that it said before its power went, and when it was missed for that, now that it is back.

        After a silence it may answer for a while with the uptime of before.
        """
        is_late = (back.taken_at - self._answered_at).total_seconds() > UPTIME_STEP_S
        return (self.latest, self.gone_at) if self.gone_at or self.missed is None or is_late else self.missed

    def _may_be_new(self, reading: Snapshot) -> bool:
        """Whether it can have started since it was last heard, as far as it tells."""
        unheard_s = (reading.taken_at - self.latest.taken_at).total_seconds()
        reported = reading.values.get(UPTIME)
        uptime_s = reported.value if reported is not None and isinstance(reported.value, int | float) else 0
        return unheard_s >= LEAST_SILENT_S and uptime_s <= unheard_s + UPTIME_STEP_S


def _uptime_since_s(before: Snapshot, now: Snapshot) -> int | float | None:
    """How long a module says that it has run, where it has begun anew since it was read before."""
    earlier, later = before.values.get(UPTIME), now.values.get(UPTIME)
    if earlier is None or later is None:
        return None
    was_s, is_s = earlier.value, later.value
    if isinstance(was_s, int | float) and isinstance(is_s, int | float) and is_s < was_s:
        return is_s
    return None


def _times(before: Snapshot, back: Snapshot, gone_at: Sequence[float]) -> dict[str, Value]:
    """For how long it was missed, and how long after its power returned it answered.

    It is missed later than it went: a broker tells of a lost module after one and a half times its keep-alive (MQTT
    5.0, section 3.1.2.10). Its uptime counts from when its power returned.
    """
    facts: dict[str, Value] = {}
    if gone_at:
        facts["silent_s"] = round(gone_at[-1] - gone_at[0], 1)
    uptime_s = _uptime_since_s(before, back)
    if uptime_s is not None:
        facts["back_after_s"] = round(uptime_s, 1)
    return facts


def _as_planned(stage: Stage, before: Snapshot, after: Snapshot, facts: Mapping[str, Value]) -> Ended:
    missed_s, back_after_s = facts.get("silent_s"), facts.get("back_after_s")
    silent = "quicker than it could be missed" if missed_s is None else f"after {missed_s:g} s of silence at least"
    if back_after_s is not None:
        silent += f", {back_after_s:g} s after its power returned by its own count"
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
