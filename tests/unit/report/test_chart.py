"""A chart shows what it is given, within its frame, whatever the numbers."""

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.report.chart import HEIGHT, MAX_POINTS, WIDTH, Level, line_chart

VALUES = st.floats(-200, 400, allow_nan=False)


def line_of(html: str) -> list[tuple[float, float]]:
    [path] = re.findall(r'<path d="M([^"]*)" class="line">', html)
    return [(float(x), float(y)) for x, y in (pair.split() for pair in path.split("L"))]


@given(values=st.lists(VALUES, min_size=1, max_size=900), limit=VALUES)
def test_everything_stays_within_the_frame(values: list[float], limit: float) -> None:
    points = [(number / 12, value) for number, value in enumerate(values)]

    html = line_chart(points, [Level(value=limit, words="limit", style="limit")], unit="°C", summary="s").html

    line = line_of(html)
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in line)
    assert all(before[0] <= after[0] for before, after in pairwise(line))
    assert len(line) <= MAX_POINTS + 1


def test_what_is_warmer_stands_higher_and_the_last_point_is_there() -> None:
    points = [(number / 12, 27.0 + number / 100) for number in range(1_001)]

    line = line_of(line_chart(points, [], unit="°C", summary="s").html)

    assert line[0][1] > line[-1][1]
    assert line[-1] == line_of(line_chart(points[-1:] and [points[0], points[-1]], [], unit="°C", summary="s").html)[-1]


def test_a_level_has_its_words_and_its_band() -> None:
    levels = [Level(value=61.0, words="settles at 61 °C", style="settles", low=58.0, high=64.0)]

    html = line_chart([(0.0, 27.0), (8.0, 55.0)], levels, unit="°C", summary="from 27 to 55 °C").html

    assert "settles at 61 °C" in html
    assert '<rect class="band settles"' in html
    assert "<title>from 27 to 55 °C</title>" in html


def test_a_chart_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a point"):
        line_chart([], [], unit="°C", summary="s")
