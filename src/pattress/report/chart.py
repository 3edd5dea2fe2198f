"""A small line chart as an SVG: one measurement over time, with the levels that matter beside it.

What belongs here: drawing. What does not: which measurement, and what is said of it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pattress.report.markup import Content, Markup, lines, tag

WIDTH, HEIGHT = 420, 176
LEFT, RIGHT, TOP, BOTTOM = 40, 8, 12, 28
MAX_POINTS = 400  # about one for each unit of its width; more cannot be seen

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level to draw across the chart, with the words that stand at it; `low` and `high` where it is uncertain."""

    value: float
    words: str
    style: str
    low: float | None = None
    high: float | None = None


def line_chart(points: Points, levels: Sequence[Level], *, unit: str, summary: str) -> Markup:
    """Return minutes and values as a line. `summary` says the same to someone who cannot see it.

    Raises:
        ValueError: If there is no point.
    """
    if not points:
        raise ValueError("a chart needs a point")
    shown = _thinned(points)
    values = [value for _, value in shown]
    values += [one for level in levels for one in (level.value, level.low, level.high) if one is not None]
    scale = _Scale(_span(0.0, shown[-1][0]), _span(min(values), max(values)))
    contents: list[Content] = [
        *(_across(scale, tick, f"{tick:g}") for tick in _ticks(*scale.values)),
        *(_down(scale, tick, f"{tick:g}") for tick in _ticks(*scale.minutes)),
        tag("text", f"{unit}", x="2", y=f"{TOP}", class_="unit"),
        tag("text", "min", x=f"{LEFT - 12}", y=f"{HEIGHT - BOTTOM + 16}", class_="unit end"),
    ]
    for level in levels:
        contents += _level(scale, level)
    path = "M" + "L".join(f"{scale.x(minute):.1f} {scale.y(value):.1f}" for minute, value in shown)
    contents.append(tag("path", d=path, class_="line"))
    return tag(
        "svg", tag("title", summary), lines(contents), viewBox=f"0 0 {WIDTH} {HEIGHT}", class_="chart", role="img"
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Scale:
    minutes: tuple[float, float]
    values: tuple[float, float]

    def x(self, minute: float) -> float:
        first, last = self.minutes
        return LEFT + (minute - first) / (last - first) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        low, high = self.values
        return HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM)


def _thinned(points: Points) -> Points:
    step = math.ceil(len(points) / MAX_POINTS)
    thinned = list(points[::step])
    return thinned if thinned[-1] == points[-1] else [*thinned, points[-1]]


def _span(low: float, high: float) -> tuple[float, float]:
    """Return a span with room at its ends, never an empty one."""
    room = (high - low) * 0.06 or 1.0
    return (low if low == 0.0 else low - room), high + room


def _ticks(low: float, high: float) -> Iterator[float]:
    """Yield four to nine round numbers within a span."""
    raw = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw * 0.999)
    for number in range(math.ceil(low / step), math.floor(high / step) + 1):
        yield round(number * step, 9)


def _across(scale: _Scale, value: float, words: str) -> Markup:
    y = f"{scale.y(value):.1f}"
    rule = tag("path", d=f"M{LEFT} {y}H{WIDTH - RIGHT}", class_="rule-line")
    return tag("g", rule, tag("text", words, x=f"{LEFT - 5}", y=f"{scale.y(value) + 4:.1f}", class_="end"))


def _down(scale: _Scale, minute: float, words: str) -> Markup:
    x = f"{scale.x(minute):.1f}"
    rule = tag("path", d=f"M{x} {HEIGHT - BOTTOM}v4", class_="rule-line")
    return tag("g", rule, tag("text", words, x=x, y=f"{HEIGHT - BOTTOM + 16}", class_="middle"))


def _level(scale: _Scale, level: Level) -> list[Content]:
    contents: list[Content] = []
    if level.low is not None and level.high is not None:
        top, bottom = scale.y(level.high), scale.y(level.low)
        band = {"x": f"{LEFT}", "y": f"{top:.1f}", "width": f"{WIDTH - LEFT - RIGHT}", "height": f"{bottom - top:.1f}"}
        contents.append(tag("rect", class_=f"band {level.style}", **band))
    y = scale.y(level.value)
    contents.append(tag("path", d=f"M{LEFT} {y:.1f}H{WIDTH - RIGHT}", class_=f"level {level.style}"))
    above = y - 5 if y > TOP + 16 else y + 15
    contents.append(tag("text", level.words, x=f"{LEFT + 6}", y=f"{above:.1f}", class_=level.style))
    return contents
