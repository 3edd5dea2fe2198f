"""What stays of encounters that have aged, and of those that are too many."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.encounter import Encounter
from pattress.model.kept import Retention
from pattress.store import devices, encounter_thinning
from pattress.store.encounter_thinning import allowances
from pattress.store.store import Store
from pattress.store.thinning import AGREEING_HOURS, AGREEING_RUNS
from unit.store.builders import HALL, ask, device, row_counts, sighting
from unit.store.watched import COMPANY, HEARD, TOLD, keep, tried

MIDNIGHT = datetime(2026, 3, 1, tzinfo=UTC)
RETENTION = Retention(every_days=2, hourly_days=4, daily_days=6, hearing_days=3, company_days=2)
HOUR = timedelta(hours=1)


def hours_ago(count: float) -> datetime:
    return MIDNIGHT - count * HOUR


async def agree_on_the_day(store: Store, ended_at: datetime = MIDNIGHT) -> None:
    for _ in range(AGREEING_RUNS):
        await store.end_run(await store.begin_run(ended_at, "digest"), ended_at, {"met": 1})


async def kept(store: Store, device_id: str | None = None) -> list[Encounter]:
    return await store.encounters(since=hours_ago(9999), device=device_id)


async def test_hours_become_days_and_days_go(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        await keep(store, *(tried(hours_ago(ago)) for ago in range(8 * 24, 0, -1)))
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        rows = await kept(store)
    assert [(one.first_at, one.last_at, one.count) for one in rows] == [
        (hours_ago(144), hours_ago(121), 24),
        (hours_ago(120), hours_ago(97), 24),
        *((hours_ago(ago), hours_ago(ago), 1) for ago in range(96, 0, -1)),
    ]
    assert rows[0].octets_out == 24 * 120
    assert row_counts(path)["encounter"] == 98


async def test_what_is_watched_without_any_audit_goes_with_age_and_not_by_a_clock_that_was_wrong_once(
    tmp_path: Path,
) -> None:
    watched = [replace(HEARD, hour=hours_ago(ago)) for ago in range(1, AGREEING_HOURS)]
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([tried(hours_ago(145))], watched, [])
        await store.thin(MIDNIGHT, RETENTION)
        assert len(await kept(store)) == 1, "an hour too few"

        await store.keep_encounters([], [replace(HEARD, hour=hours_ago(-99_999))], [])
        await store.thin(hours_ago(-99_999), Retention(every_days=40, hourly_days=40, daily_days=40))
        assert len(await kept(store)) == 1, "the oldest of so many hours is of last month at most"

        await store.thin(MIDNIGHT, RETENTION)
        assert await kept(store) == []


async def test_thinning_every_night_ends_as_thinning_once_does(tmp_path: Path) -> None:
    nightly, once = [], []
    for name, rows in (("nightly", nightly), ("once", once)):
        async with Store.open(tmp_path / f"{name}.db") as store:
            for day in range(8, 0, -1):
                await keep(store, *(tried(hours_ago(24 * day - hour)) for hour in range(24)))
                if name == "nightly":
                    await agree_on_the_day(store, hours_ago(24 * (day - 1)))
                    await store.thin(hours_ago(24 * (day - 1)), RETENTION)
            await agree_on_the_day(store)
            await store.thin(MIDNIGHT, RETENTION)
            rows += await kept(store)

    assert nightly == once
    assert len(once) == 98


async def test_what_comes_late_joins_its_day(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        await keep(store, tried(hours_ago(99)), tried(hours_ago(98)))
        await agree_on_the_day(store)
        await store.thin(MIDNIGHT, RETENTION)
        await keep(store, tried(hours_ago(97)), tried(hours_ago(120)))

        await store.thin(MIDNIGHT, RETENTION)

        assert [(one.first_at, one.count) for one in await kept(store)] == [(hours_ago(120), 4)]
    assert ask(path, "SELECT count(*), sum(is_day) FROM encounter") == [(1, 1)]


async def test_a_day_is_found_by_any_moment_in_it(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, tried(hours_ago(119)), tried(hours_ago(98)))
        await agree_on_the_day(store)
        await store.thin(MIDNIGHT, RETENTION)

        assert len(await store.encounters(since=hours_ago(98))) == 1
        assert await store.encounters(since=hours_ago(97)) == []
        assert await store.encounters(since=hours_ago(130), until=hours_ago(119)) == []


async def test_hearings_company_and_what_was_told_go_with_time(tmp_path: Path) -> None:
    ages = (1, 47, 49, 71, 73, 143, 145)
    async with Store.open(tmp_path / "house.db") as store:
        times = {"first_at": hours_ago(200), "told_at": None}
        await store.keep_encounters(
            [],
            [replace(HEARD, hour=hours_ago(ago)) for ago in ages],
            [replace(COMPANY, hour=hours_ago(ago)) for ago in ages],
            told=[replace(TOLD, place=str(ago), last_at=hours_ago(ago), **times) for ago in ages],
        )
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert [one.hour for one in await store.company(hours_ago(999))] == [hours_ago(ago) for ago in (47, 1)]
        assert [one.hour for one in await store.hearings(hours_ago(999))] == [hours_ago(ago) for ago in (71, 49, 47, 1)]
        assert sorted(int(one.place) for one in await store.told()) == [1, 47, 49, 71, 73, 143]


async def test_an_address_of_which_nothing_is_kept_any_more_goes_with_its_words(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        gone, stays = "address:192.0.2.9", "address:192.0.2.8"
        await keep(store, tried(hours_ago(150), device=gone, remote="203.0.113.99"), tried(hours_ago(1), device=stays))
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

    assert ask(path, "SELECT id FROM device") == [(stays,)]
    assert ask(path, "SELECT count(*) FROM word WHERE text = '203.0.113.99'") == [(0,)]
    assert ask(path, "SELECT count(*) FROM word WHERE text = '203.0.113.7'") == [(1,)]
    assert ask(path, "PRAGMA foreign_key_check") == []


async def test_who_floods_loses_its_own_past_and_nobody_elses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(encounter_thinning, "MAX_ROWS", 60)
    quiet = [tried(hours_ago(ago), device="name:quiet") for ago in (70, 50, 1)]
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, *quiet, *(tried(hours_ago(ago)) for ago in range(72, 0, -1)))
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert await kept(store, "name:quiet") == quiet
        loud = await kept(store, HALL)
    assert [one.count for one in loud] == [24, *[1] * 48]
    assert loud[0].first_at == hours_ago(72)


async def test_where_days_alone_are_too_many_the_oldest_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(encounter_thinning, "MAX_ROWS", 10)
    remotes = [f"203.0.113.{number}" for number in range(6)]
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, *(tried(hours_ago(ago), remote=remote) for ago in (60, 36, 12) for remote in remotes))
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert [one.first_at for one in await kept(store)] == [hours_ago(12)] * 6


@given(st.lists(st.integers(1, 1000), max_size=50), st.integers(1, 5000))
def test_allowances_are_kept_and_used(counts: list[int], limit: int) -> None:
    allowed = allowances(counts, limit)

    if allowed is None:
        assert sum(counts) <= limit
    else:
        assert sum(counts) > limit
        assert sum(min(count, allowed) for count in counts) <= limit
        assert sum(min(count, allowed + 1) for count in counts) > limit, "one more for each would be too many"


async def test_strangers_that_had_to_do_with_the_outside_are_forgotten_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(devices, "MAX_NEVER_READ_DEVICES", 2)
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, tried(hours_ago(50), device="name:Quill-0"))
        for number in range(5):
            at = hours_ago(40 - number)
            run = await store.begin_run(at, "digest")
            stranger = device(sighting(f"Quill-{number}", at=at), name=f"Quill-{number}")
            await store.keep_devices(run, [stranger])

        assert [known.id for known in await store.known_devices()] == ["name:Quill-0", "name:Quill-4"]
