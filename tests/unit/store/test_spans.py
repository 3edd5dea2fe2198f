"""The laws of spans: they never overlap, and the past is what was read."""

import itertools
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattress.model.kept import Span
from pattress.model.vocabulary import Value
from pattress.store.readings import keep_readings
from pattress.store.runs import begin_run
from pattress.store.spans import history
from pattress.store.store import Store
from pattress.store.transactions import write_transaction
from unit.store.builders import HALL, NIGHT, minutes, opened, snapshot, unreadable

NAMES = ("mqtt.port", "mqtt.tls", "net.ssid", "output.1.on")
VALUES: st.SearchStrategy[Value] = st.sampled_from([True, False, 1, 0, 1.0, "1", "", "x\0y"])


@dataclass(frozen=True)
class Step:
    """One reading: how long after the one before, what was reported, what could not be read; None is unreadable."""

    after: timedelta
    values: dict[str, Value] | None
    errors: frozenset[str]


steps = st.lists(
    st.builds(
        Step,
        after=st.integers(-3, 10).map(lambda seconds: timedelta(seconds=seconds)),
        values=st.none() | st.dictionaries(st.sampled_from(NAMES), VALUES),
        errors=st.frozensets(st.sampled_from([*NAMES, "facts"]), max_size=2),
    ),
    max_size=12,
)


def held(spans: list[Span], at: datetime) -> dict[str, tuple[type, Value]]:
    holding = [span for span in spans if span.since <= at and (span.until is None or at < span.until)]
    assert len({span.setting for span in holding}) == len(holding)
    return {span.setting: (type(span.value), span.value) for span in holding}


def expected_states(taken: list[Step]) -> dict[datetime, dict[str, tuple[type, Value]]]:
    """What a careful person would have written down after each reading, by the time that cannot run backwards."""
    states: dict[datetime, dict[str, tuple[type, Value]]] = {}
    clock = latest = NIGHT
    state: dict[str, tuple[type, Value]] = {}
    for step in taken:
        clock += step.after
        if step.values is None:
            continue
        latest = max(latest, clock) if states else clock
        hidden = set(NAMES) if "facts" in step.errors else step.errors
        kept = {name: pair for name, pair in state.items() if name in hidden}
        state = kept | {name: (type(value), value) for name, value in step.values.items()}
        states[latest] = state
    return states


@settings(max_examples=150, deadline=None)
@given(steps)
def test_the_past_is_what_was_read_and_spans_never_overlap(taken: list[Step]) -> None:
    clock, readings = NIGHT, []
    for step in taken:
        clock += step.after
        if step.values is None:
            readings.append(unreadable(at=clock))
        else:
            readings.append(snapshot(step.values, at=clock, errors=dict.fromkeys(step.errors, "status 500")))

    with tempfile.TemporaryDirectory() as folder, opened(Path(folder) / "house.db") as database:
        with write_transaction(database):
            run = begin_run(database, NIGHT, "digest")
            for reading in readings:
                keep_readings(database, run, [reading])
        spans = history(database, HALL, None)

    by_setting = defaultdict(list)
    for span in spans:
        assert span.until is None or span.since < span.until
        by_setting[span.setting].append(span)
    for of_one in by_setting.values():
        for earlier, later in itertools.pairwise(of_one):
            assert earlier.until is not None
            assert earlier.until <= later.since
    for at, state in expected_states(taken).items():
        assert held(spans, at) == state


@settings(max_examples=50, deadline=None)
@given(st.lists(st.dictionaries(st.sampled_from(NAMES), VALUES, min_size=1), min_size=1, max_size=6))
def test_reading_the_same_again_makes_no_span(all_values: list[dict[str, Value]]) -> None:
    with tempfile.TemporaryDirectory() as folder, opened(Path(folder) / "house.db") as database:
        with write_transaction(database):
            run = begin_run(database, NIGHT, "digest")
            once = [snapshot(values, at=minutes(number * 2)) for number, values in enumerate(all_values)]
            keep_readings(database, run, once)
            before = history(database, HALL, None)
            keep_readings(database, run, [snapshot(all_values[-1], at=minutes(100))])
        after = history(database, HALL, None)

    assert after == before


@pytest.mark.parametrize(("old", "new"), [(True, 1), (1, 1.0), (1, "1"), (False, 0), ("", "0")])
async def test_a_change_of_type_alone_is_a_change(old: Value, new: Value, tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot({"net.ssid": old}), snapshot({"net.ssid": new}, at=minutes(1))])

        values = [span.value for span in await store.history(HALL)]
        assert [(type(value), value) for value in values] == [(type(old), old), (type(new), new)]


async def test_the_history_of_one_setting_is_asked_for_by_its_name(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot({"mqtt.port": 1, "mqtt.tls": True})])

        assert [span.setting for span in await store.history(HALL, "mqtt.tls")] == ["mqtt.tls"]
        assert await store.history(HALL, "mqtt.host") == []
