"""The step of the heat: the module under load, and where its temperature will settle.

What belongs here: watching it, and what its load and timers mean for that. What does not: the fit (`circuit.heat`).
"""

import math
import re
import statistics
from collections.abc import Sequence

from pattress.circuit.heat import FEWEST_SAMPLES, Decision, Rise, Scaled, decide, fit_rise, scale
from pattress.closein.cautions import HOT, MOVES
from pattress.closein.channels import Channel, fed_channels
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value

TEMPERATURE = "health.temperature_c"
MARGIN_K = 5.0  # below the limit at which the module sheds its load (common practice: sensors differ by as much)
LEAST_S = 60.0  # before which no rise is believed
LEAST_SHARE = 0.1  # of the planned load, below which nothing of it can be said to be on
FULL_PCT = 90.0  # of a level, from which on a channel that no meter measures has its load
COLDEST_ROOM_C, MAX_ROOM_C = -20.0, 60.0
_DEGREES = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*(?:°|°?\s*C)?", re.IGNORECASE)


async def heat(stage: Stage) -> Ended:
    """The module will settle below its limit, under the planned load, in the warmest room that is planned."""
    first = await stage.read([TEMPERATURE])
    limit_c = _limit_c(first)
    if not isinstance(first, Snapshot) or TEMPERATURE not in first.values:
        reason = first.reason if not isinstance(first, Snapshot) else f"it does not report {TEMPERATURE}"
        return Ended(outcome="unverified", sentence=reason)
    if limit_c is None:
        return Ended(outcome="unverified", sentence="the module tells no temperature at which it sheds its load")
    channels = fed_channels(stage.profile, stage.point)
    await stage.confirm(HOT)
    if any(one.can_move for one in channels):
        await stage.confirm(MOVES)
    circuit = stage.point.circuit
    warmest_c = None if circuit is None else circuit.ambient_c
    room_c = None if warmest_c is None else await _room_c(stage)
    fed = " and ".join(one.feeds for one in channels)
    await stage.ask(Question(text=f"Switch on all that it feeds ({fed}), fully, and leave it on. Done?"))
    watch = _Watch(stage, channels, limit_c, room_c, warmest_c)
    text = f"Leave it on. The heat is watched for {stage.pace.heat_s / 60:g} minutes."
    question = Question(text=text, replies=("skip", "stop"))
    await stage.until(question, watch.look, watch.names, limit_s=stage.pace.heat_s, apart_s=stage.pace.heat_apart_s)
    return watch.ended()


async def _room_c(stage: Stage) -> float | None:
    """How warm the room is, None where the person does not know."""
    text = await stage.talk.words("How warm is the room, in degrees Celsius? (Enter where you do not know)")
    while text.strip():
        found = _DEGREES.fullmatch(text.strip())
        room_c = float(found[1].replace(",", ".")) if found else math.nan
        if COLDEST_ROOM_C <= room_c <= MAX_ROOM_C:
            return room_c
        text = await stage.talk.words("What is that in degrees Celsius, as a number? (Enter where you do not know)")
    return None


def _limit_c(reading: Reading) -> float | None:
    """The lowest temperature at which an output of the module sheds its load."""
    if not isinstance(reading, Snapshot):
        return None
    limits = [one.value for name, one in reading.values.items() if name.endswith(".over_temperature.limit_c")]
    return min((float(one) for one in limits if isinstance(one, int | float)), default=None)


class _Watch:
    """What was read of one module while it got warm.

    `room_c` is how warm the room is, None where nobody said; `warmest_c` what is planned for, None where nothing is.
    """

    def __init__(
        self,
        stage: Stage,
        channels: Sequence[Channel],
        limit_c: float,
        room_c: float | None,
        warmest_c: float | None,
    ) -> None:
        self.names = [TEMPERATURE, *(one.state for one in channels), *(one.meter for one in channels if one.meter)]
        self._channels = channels
        self._limit_c = limit_c
        self._room_c = room_c
        self._warmest_c = warmest_c
        self._began_at = stage.clock()
        self._circuit = stage.point.circuit
        self._rise: list[tuple[float, float]] = []
        self._powers: list[float] = []
        self._were_on: set[str] = set()
        self._were_fully_on: set[str] = set()
        self._went_off: dict[str, bool] = {}  # whether its own timer did it

    def look(self, reading: Reading) -> bool:
        """Take a reading in, and return whether nothing is left to be predicted.

        A prediction that seems clear waits for the end: of rises that are none of one body under one load the fewer are
        found out the sooner they are believed.
        """
        if not isinstance(reading, Snapshot):
            return False
        seconds, value = (reading.taken_at - self._began_at).total_seconds(), reading.values.get(TEMPERATURE)
        if (
            value is not None
            and isinstance(value.value, int | float)
            and (not self._rise or seconds > self._rise[-1][0])
        ):
            self._rise.append((seconds, float(value.value)))
        self._note_power(reading)
        for channel in self._channels:
            self._note_state(channel, reading)
        return bool(self._went_off) or (self._is_enough and self._is_at_limit)

    def ended(self) -> Ended:
        """Return how the step ended."""
        decision, predicted = self._decision()
        facts = self._facts(predicted)
        shed = [name for name, is_timed in self._went_off.items() if not is_timed]
        if shed:
            sentence = f"{' and '.join(shed)} went off while it was watched: the module shed its load"
            return Ended(outcome="broken", sentence=sentence, facts=facts)
        is_too_hot = decision == "above"  # with less than all of its load on it is so all the more
        if not self._is_loaded and not is_too_hot:
            return Ended(outcome="unverified", sentence="nothing was on, so that nothing got warm", facts=facts)
        if self._not_seen_on and not is_too_hot:
            sentence = f"{' and '.join(self._not_seen_on)} had not all of its load on, and no meter tells how much"
            return Ended(outcome="unverified", sentence=sentence, facts=facts)
        if predicted is None:
            why = "its own timer switched it off" if self._went_off else "the time to watch it was over"
            return Ended(outcome="unverified", sentence=f"{why} before anything could be predicted", facts=facts)
        if decision == "needs more time" and not predicted.is_one_lag:
            sentence = (
                "it does not warm as one body under one load: load or plate changed meanwhile, or something slow warms"
                " behind it. Leave all as it is, and watch it again for longer"
            )
            return Ended(outcome="unverified", sentence=sentence, facts=facts)
        where = f"{predicted.settles_c:.0f} °C ({predicted.low_c:.0f} to {predicted.high_c:.0f} °C with 90 %)"
        under = f"; {predicted.assumption}" if isinstance(predicted, Scaled) else ""
        limit = f"{self._limit_c:g} °C{under}"
        match decision:
            case "above":
                sentence = f"it will settle at {where}, and sheds its load at {limit}"
                return Ended(outcome="broken", sentence=sentence, facts=facts)
            case "below" if self._warmest_c is not None and self._room_c is None:
                today = f"it will settle at {where} in the room as it is, {MARGIN_K:g} K or more below {limit}"
                warmest = f"how warm the room is was not said, so nothing is known for {self._warmest_c:g} °C"
                return Ended(outcome="unverified", sentence=f"{today}; {warmest}", facts=facts)
            case "below":
                room = " in the room as it is, the plan naming no warmest" if self._warmest_c is None else ""
                sentence = f"it will settle at {where}{room}, {MARGIN_K:g} K or more below {limit}"
                return Ended(outcome="met", sentence=sentence, facts=facts)
            case "needs more time":
                sentence = f"it needs more time: it may settle at {where}, and sheds its load at {limit}"
                return Ended(outcome="unverified", sentence=sentence, facts=facts)

    def _note_power(self, reading: Snapshot) -> None:
        meters = [one.meter for one in self._channels if one.meter is not None and one.meter in reading.values]
        power_w = [reading.values[name].value for name in meters]
        self._powers.append(sum(float(one) for one in power_w if isinstance(one, int | float)))

    def _note_state(self, channel: Channel, reading: Snapshot) -> None:
        """Take note of what went off by itself; a shutter's motor always does."""
        state = reading.values.get(channel.state)
        if state is None or channel.name == "shutter":
            return
        if channel.is_on(state.value):
            self._were_on.add(channel.name)
            if isinstance(state.value, bool) or (isinstance(state.value, int | float) and state.value >= FULL_PCT):
                self._were_fully_on.add(channel.name)
        elif channel.name in self._were_on:
            timer = reading.values.get(f"{channel.name}.off_after_s")
            self._went_off[channel.name] = (
                timer is not None and isinstance(timer.value, int | float) and timer.value > 0
            )

    @property
    def _planned_w(self) -> float:
        return sum(one.total_w for one in self._circuit.loads) if self._circuit is not None else 0.0

    @property
    def _metered_w(self) -> float:
        """The usual load by the meters; where it changed once, that of the longer part."""
        return statistics.median(self._powers) if self._powers else 0.0

    @property
    def _load_w(self) -> float:
        """The usual load: what no meter measures, and was fully on (`_not_seen_on`), beside a meter counts as planned.

        Where there is no meter at all, none is known.
        """
        unmetered_w = sum(one.planned_w or 0.0 for one in self._channels if one.meter is None)
        return self._metered_w + unmetered_w if self._has_meter else 0.0

    @property
    def _has_meter(self) -> bool:
        return any(one.meter is not None for one in self._channels)

    @property
    def _is_steady(self) -> bool:
        """Whether its load can be on for minutes: the motor of a shutter runs for seconds only."""
        return any(one.name != "shutter" for one in self._channels)

    @property
    def _is_loaded(self) -> bool:
        """Whether what it feeds was on, as far as a meter or the state of an output tells."""
        if not self._is_steady:
            return True
        return bool(self._were_on) and (not self._has_meter or self._load_w >= LEAST_SHARE * self._planned_w)

    @property
    def _not_seen_on(self) -> list[str]:
        """The channels whose load nobody can scale up to what is planned: without a meter, and not fully on."""
        steady = [one.name for one in self._channels if one.name != "shutter" and one.meter is None]
        return [name for name in steady if name not in self._were_fully_on]

    @property
    def _is_enough(self) -> bool:
        """Whether anything can be predicted yet."""
        return len(self._rise) >= FEWEST_SAMPLES and self._rise[-1][0] - self._rise[0][0] >= LEAST_S

    @property
    def _is_at_limit(self) -> bool:
        return bool(self._rise) and self._rise[-1][1] >= self._limit_c

    def _decision(self) -> tuple[Decision, Rise | Scaled | None]:
        """What can be told so far, and the prediction that it rests on."""
        if not self._is_enough:
            return "needs more time", None
        fitted = fit_rise(self._rise)
        if self._is_at_limit:
            return "above", fitted
        predicted = self._scaled(fitted)
        return decide(predicted, self._limit_c, margin_k=MARGIN_K), predicted

    def _scaled(self, fitted: Rise) -> Rise | Scaled:
        """The prediction under the planned load, where a real part of it was on, and in the planned room."""
        planned_w, load_w = self._planned_w, self._load_w
        has_load = self._is_steady and planned_w > 0 and load_w >= LEAST_SHARE * planned_w
        has_room = self._warmest_c is not None and self._room_c is not None
        if not has_load and not has_room:
            return fitted
        return scale(
            fitted,
            test_load_w=load_w if has_load else None,
            planned_load_w=planned_w if has_load else None,
            ambient_c=self._room_c if has_room else None,
            planned_ambient_c=self._warmest_c if has_room else None,
        )

    def _facts(self, predicted: Rise | Scaled | None) -> dict[str, Value]:
        facts: dict[str, Value] = {
            "limit_c": self._limit_c,
            "readings": len(self._rise),
            "load_w": round(self._metered_w, 1),
        }
        if self._rise:
            first, last = self._rise[0], self._rise[-1]
            facts |= {"first_c": first[1], "last_c": last[1], "watched_s": round(last[0])}
        if predicted is not None and predicted.is_one_lag:
            facts |= {
                "settles_c": round(predicted.settles_c, 1),
                "low_c": round(predicted.low_c, 1),
                "high_c": round(predicted.high_c, 1),
            }
        return facts
