"""Samples come back as they were read, whatever their kind and however they came, up to a bound."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.closein import Sample
from pattress.store import close_in_samples
from pattress.store.close_in_samples import samples_of_try, settle_samples
from pattress.store.close_ins import begin_close_in, keep_samples
from pattress.store.store import Store
from pattress.store.words import Words
from unit.store.builders import NIGHT, ask, minutes, opened
from unit.store.checked import result, sample, warming

NUMBERS = st.one_of(
    st.integers(-(2**63), 2**63 - 1), st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([0.1, -0.0, 1])
)
VALUES = st.one_of(
    NUMBERS, st.booleans(), st.text(max_size=20).map(lambda text: text.encode("utf-8", "replace").decode())
)
SAMPLES = st.lists(
    st.builds(
        Sample,
        at=st.integers(0, 50).map(minutes),
        name=st.sampled_from(["health.temperature_c", "net.rssi_dbm", "input.1.closed", "net.ssid"]),
        value=VALUES,
    ),
    max_size=40,
)


def in_time(samples: list[Sample]) -> list[Sample]:
    return sorted(samples, key=lambda one: (one.at, one.name))


def marks(samples: list[Sample]) -> list[str]:
    """1, 1.0 and true are equal, and so are 0.0 and -0.0; what is written of them is not."""
    return sorted(f"{one.at} {one.name} {one.value!r}" for one in samples)


@given(samples=SAMPLES, parts=st.integers(1, 7))
def test_samples_are_the_same_after_keeping_and_after_settling(
    tmp_path_factory: pytest.TempPathFactory, samples: list[Sample], parts: int
) -> None:
    with opened(Path(":memory:")) as database:
        number = begin_close_in(database, "hall-lights", "Wren Okafor", NIGHT, None, {})
        for start in range(0, len(samples), parts):
            keep_samples(database, number, "heat", samples[start : start + parts])
        key = (number, Words(database).key("heat"), 1)

        kept = samples_of_try(database, key)
        settle_samples(database, key, [])
        settled = samples_of_try(database, key)

    assert marks(kept) == marks(samples)
    assert kept == in_time(kept)
    assert set(marks(settled)) == set(marks(samples))


async def test_a_long_step_takes_little_room_and_few_rows(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        read = warming(1800)
        for start in range(0, len(read), 10):
            await store.keep_samples(number, "heat", read[start : start + 10])

        await store.keep_step(number, result(samples=read))

        assert list((await store.close_in(number)).results[0].samples) == read
    ((rows, size),) = ask(path, "SELECT count(*), sum(length(numbers) + length(others)) FROM close_in_samples")
    assert rows == 1
    assert int(str(size)) < 2 * len(read)


async def test_above_the_bound_no_more_are_kept_and_the_count_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(close_in_samples, "MAX_SAMPLES_PER_TRY", 10)
    monkeypatch.setattr(close_in_samples, "SAMPLES_PER_ROW", 4)
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)

        counts = [await store.keep_samples(number, "heat", warming(8, minute=minute)) for minute in (0, 1, 2)]
        during = await store.samples_of(number, "heat")
        await store.keep_step(number, result(samples=warming(60, minute=3)))
        after = await store.samples_of(number, "heat")

        await store.keep_step(number, result(minute=60, samples=[sample(minute=61)]))
        assert await store.samples_of(number, "heat", 2) == [sample(minute=61)]
    assert counts == [8, 2, 0]
    assert during == after == [*warming(8), *warming(2, minute=1)]


async def test_what_cannot_be_kept_leaves_nothing_behind(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)

        with pytest.raises(ValueError, match="not a number"):
            await store.keep_samples(number, "heat", [sample(), sample(value=float("inf"))])

        assert await store.samples_of(number, "heat") == []
