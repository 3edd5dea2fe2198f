"""The channels of a module as the check looks at them: which value says that one is on, which says how much it feeds.

What belongs here: these names, and what they are planned to feed. What does not: the steps.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pattress.model.circuit import Load
from pattress.model.plan import Point
from pattress.model.profile import Profile
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value

_STATES: Mapping[str, str] = {"output": "on", "dimmer": "level_pct", "led": "level_pct", "shutter": "position_pct"}
MOVED_PCT = 2.0  # of a level or a position: less is how it settles


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel that feeds something: `output.1`, `dimmer.1`, `led.2`, `shutter`.

    `state` is the name of the value that tells how it stands, `meter` that of its meter, None where it has none.
    """

    name: str
    state: str
    meter: str | None
    loads: tuple[Load, ...] = ()

    @property
    def step(self) -> str:
        """The name of its step."""
        return self.name if self.name.startswith("output.") else f"output.{self.name}"

    @property
    def feeds(self) -> str:
        """What it feeds, in words."""
        named = [one.name or f"{one.count} x {one.kind}" for one in self.loads]
        return ", ".join(named) or "what it feeds"

    @property
    def on_words(self) -> str:
        """What to call it when it feeds all that is planned."""
        return "on" if self.name.startswith("output") else "on, to its full level"

    @property
    def planned_w(self) -> float | None:
        """The power that it is planned to feed, in watts, or None where the plan does not say."""
        total_w = sum(one.total_w for one in self.loads)
        return total_w if self.loads and total_w > 0 else None

    @property
    def hazards(self) -> frozenset[str]:
        """What of its loads may hurt when it comes on."""
        return frozenset(one.hazard for one in self.loads if one.hazard is not None)

    @property
    def can_move(self) -> bool:
        """Whether something moves or runs when it comes on."""
        return self.name == "shutter" or bool(self.hazards & {"moves", "pumps"})

    def is_on(self, value: Value) -> bool:
        """Whether a value of its state says that it feeds something."""
        return value is True if isinstance(value, bool) else isinstance(value, int | float) and value > MOVED_PCT

    def is_at_end(self, reading: Reading) -> bool:
        """Whether it is a shutter that can move one way only."""
        if self.name != "shutter" or not isinstance(reading, Snapshot) or self.state not in reading.values:
            return False
        position = reading.values[self.state].value
        return isinstance(position, int | float) and not MOVED_PCT < position < 100 - MOVED_PCT


def channels_of(profile: Profile, point: Point) -> list[Channel]:
    """Return every channel of a kind that feeds something; a shutter's outputs are one channel."""
    if profile.module_class == "shutter":
        return [_channel("shutter", None, profile, point)]
    groups = [group for group in ("dimmer", "led", "output") if profile.channels.get(group, 0)]
    # A dimmer's or LED channel's output is the same wire: its level says more.
    group = groups[0] if groups else None
    if group is None:
        return []
    return [_channel(group, number, profile, point) for number in range(1, profile.channels[group] + 1)]


def fed_channels(profile: Profile, point: Point) -> list[Channel]:
    """Return the channels that the plan lets feed something; all of them, where it says nothing of loads."""
    every = channels_of(profile, point)
    return [one for one in every if one.loads] or every


def channel_named(name: str, profile: Profile, point: Point) -> Channel:
    """Return a channel by its name."""
    group, _, number = name.partition(".")
    return _channel(group, int(number) if number else None, profile, point)


def _channel(group: str, number: int | None, profile: Profile, point: Point) -> Channel:
    name = group if number is None else f"{group}.{number}"
    meters = profile.channels.get("meter", 0)
    meter = f"meter.{number or 1}.power_w" if meters >= (number or 1) else None
    loads = point.circuit.loads if point.circuit is not None else ()
    return Channel(
        name=name,
        state=f"{name}.{_STATES[group]}",
        meter=meter,
        loads=tuple(one for one in loads if one.channel == name),
    )


def moved(before: Value | None, now: Value | None) -> bool:
    """Whether a state is another than it was."""
    if before is None or now is None:
        return False
    if isinstance(before, bool) or isinstance(now, bool):
        return before is not now
    if isinstance(before, int | float) and isinstance(now, int | float):
        return abs(before - now) > MOVED_PCT
    return before != now


def input_names(profile: Profile) -> Iterator[str]:
    """Yield the name of the value that tells how each input stands."""
    for number in range(1, profile.channels.get("input", 0) + 1):
        yield f"input.{number}.closed"
