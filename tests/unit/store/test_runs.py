"""A run that ended says so; one that was cut short does not."""

from datetime import datetime
from pathlib import Path

import pytest

from pattress.model.kept import KeptRun
from pattress.store.store import Store
from unit.store.builders import NIGHT, minutes


async def test_an_ended_run_comes_back_with_its_counts(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "a" * 64)

        await store.end_run(run, minutes(2), {"met": 40, "broken": 1})

        assert await store.runs() == [
            KeptRun(
                id=run,
                started_at=NIGHT,
                ended_at=minutes(2),
                policy_digest="a" * 64,
                device_count=0,
                read_count=0,
                unreadable_count=0,
                counts={"broken": 1, "met": 40},
            )
        ]


async def test_a_run_that_was_cut_short_has_no_end(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.begin_run(NIGHT, "digest")

    async with Store.open(tmp_path / "house.db") as store:
        (kept,) = await store.runs()
        assert (kept.ended_at, kept.counts) == (None, {})


async def test_the_newest_runs_come_first(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        numbers = [await store.begin_run(minutes(minute), "digest") for minute in range(4)]

        assert [run.id for run in await store.runs(limit=2)] == [numbers[3], numbers[2]]


async def test_a_run_that_does_not_exist_cannot_end(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(ValueError, match="no run 7"):
            await store.end_run(7, NIGHT, {})


async def test_a_start_without_a_time_zone_is_refused(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(ValueError, match="no time zone"):
            await store.begin_run(datetime(2026, 3, 1), "digest")

        assert await store.runs() == []
