"""What stays of readings that have aged, and what never goes."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.kept import KeptReading, Retention, SignOff
from pattress.store import thinning
from pattress.store.packing import Taken
from pattress.store.store import Store
from pattress.store.thinning import AGREEING_RUNS, DAILY, EVERY, HOURLY, MAX_CHANGES_PER_DAY, thinned
from unit.store.builders import HALL, ask, device, finding, sighting, snapshot, unreadable

MIDNIGHT = datetime(2026, 3, 1, tzinfo=UTC)
RETENTION = Retention(every_days=2, hourly_days=4, daily_days=6)


def taken(minute: int, *, is_read: bool = True) -> Taken:
    return Taken(taken_at_ms=minute * 60_000, run=1, is_read=is_read, reason=None, measured={})


def minutes_of(readings: list[Taken]) -> list[int]:
    return [one.taken_at_ms // 60_000 for one in readings]


def a_day(days_ago: float) -> datetime:
    return MIDNIGHT - timedelta(days=days_ago)


async def agree_on_the_day(store: Store, ended_at: datetime = MIDNIGHT) -> int:
    for _ in range(AGREEING_RUNS):
        run = await store.begin_run(ended_at, "digest")
        await store.end_run(run, ended_at, {"met": 1})
    return run


async def keep_every_ten_minutes(store: Store, first: datetime, count: int) -> None:
    run = await store.begin_run(first, "digest")
    times = [first + timedelta(minutes=10 * number) for number in range(count)]
    await store.keep_readings(run, [snapshot({"meter.1.power_w": 1.5, "mqtt.port": 1883}, at=at) for at in times])


async def times_kept(store: Store, device_id: str = HALL) -> list[datetime]:
    kept: list[KeptReading] = await store.readings_of(device_id, limit=100_000)
    return [one.taken_at for one in reversed(kept)]


def test_the_first_of_each_hour_stays_and_then_of_the_day() -> None:
    day = [taken(minute) for minute in range(7, 240, 25)]

    assert minutes_of(thinned(day, EVERY)) == minutes_of(day)
    assert minutes_of(thinned(day, HOURLY)) == [7, 82, 132, 182]
    assert minutes_of(thinned(day, DAILY)) == [7]


def test_a_reading_with_a_new_outcome_stays() -> None:
    day = [taken(minute, is_read=minute not in (20, 25, 90)) for minute in range(0, 120, 5)]

    assert minutes_of(thinned(day, HOURLY)) == [0, 20, 30, 60, 90, 95]
    assert minutes_of(thinned(day, DAILY)) == [0, 20, 30, 90, 95]


def test_a_device_that_answers_every_second_time_is_bounded() -> None:
    day = [taken(minute, is_read=minute % 2 == 0) for minute in range(1440)]

    assert len(thinned(day, DAILY)) == 1 + MAX_CHANGES_PER_DAY


@given(st.lists(st.tuples(st.integers(0, 1439), st.booleans()), unique_by=lambda one: one[0], max_size=60))
def test_thinning_again_changes_nothing_and_two_steps_are_as_good_as_one(found: list[tuple[int, bool]]) -> None:
    day = [taken(minute, is_read=is_read) for minute, is_read in sorted(found)]

    hourly = thinned(day, HOURLY)

    assert thinned(hourly, HOURLY) == hourly
    assert thinned(hourly, DAILY) == thinned(day, DAILY)


def test_stages_must_follow_one_another() -> None:
    with pytest.raises(ValueError, match="at least as long"):
        Retention(every_days=20, hourly_days=10)


async def test_readings_are_thinned_by_age_and_settings_are_not(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep_every_ten_minutes(store, a_day(8), 8 * 144)
        await agree_on_the_day(store)
        history = await store.history(HALL)

        gone = await store.thin(MIDNIGHT, RETENTION, is_whole=True)

        kept = await times_kept(store)
        assert await store.history(HALL) == history
        assert history[0].since == a_day(8)
    assert [sum(a_day(ago) <= at < a_day(ago - 1) for at in kept) for ago in range(8, 0, -1)] == [
        *(0, 0),  # older than six days
        *(1, 1),  # the first of each day
        *(24, 24),  # the first of each hour
        *(144, 144),
    ]
    assert gone == 4 * 144 - 2 - 48 + 144 * 2 - 2  # of the two oldest days, the last one of each was dropped after


async def test_thinning_every_night_ends_as_thinning_once_does(tmp_path: Path) -> None:
    nightly, once = [], []
    for name, kept in (("nightly", nightly), ("once", once)):
        async with Store.open(tmp_path / f"{name}.db") as store:
            await agree_on_the_day(store, a_day(8))
            for ago in range(8, 0, -1):
                await keep_every_ten_minutes(store, a_day(ago), 144)
                await agree_on_the_day(store, a_day(ago - 1))
                if name == "nightly":
                    await store.thin(a_day(ago - 1), RETENTION)
            await store.thin(MIDNIGHT, RETENTION)
            kept += await store.readings_of(HALL, limit=100_000)

    assert nightly == once
    assert len(nightly) == 2 + 48 + 288


async def test_a_second_time_changes_nothing(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep_every_ten_minutes(store, a_day(5), 5 * 144)
        await agree_on_the_day(store)
        await store.thin(MIDNIGHT, RETENTION)
        before = await store._connection.read(lambda database: list(database.conn.iterdump()))

        gone = await store.thin(MIDNIGHT, RETENTION)

        assert gone == 0
        assert await store._connection.read(lambda database: list(database.conn.iterdump())) == before


async def test_a_reading_that_comes_late_joins_its_packed_day(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep_every_ten_minutes(store, a_day(3), 144)
        await agree_on_the_day(store)
        await store.thin(MIDNIGHT, Retention())
        late = a_day(3) + timedelta(minutes=3)
        run = await store.begin_run(MIDNIGHT, "digest")
        await store.keep_readings(run, [unreadable(at=late)])

        await store.thin(MIDNIGHT, RETENTION)

        assert (await times_kept(store))[:3] == [a_day(3), late, a_day(3) + timedelta(minutes=10)]


async def test_nothing_goes_by_a_clock_that_too_few_runs_agree_with(tmp_path: Path) -> None:
    later = MIDNIGHT + timedelta(days=4000)
    async with Store.open(tmp_path / "house.db") as store:
        await keep_every_ten_minutes(store, a_day(1), 144)
        assert await store.thin(later, RETENTION) == 0

        await agree_on_the_day(store)
        run = await store.begin_run(later, "digest")
        await store.end_run(run, later, {})
        assert await store.thin(later, Retention(every_days=40, hourly_days=40, daily_days=40)) == 0

        assert len(await times_kept(store)) == 144


async def test_states_go_with_age_and_what_still_holds_stays(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(a_day(30), "digest")
        for ago, is_on, port in ((30, False, 1), (20, True, 2), (3, False, 3), (2, True, 4)):
            values = {"output.1.on": is_on, "mqtt.connected": True, "mqtt.port": port}
            await store.keep_readings(run, [snapshot(values, at=a_day(ago))])
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert [span.since for span in await store.history(HALL, "output.1.on")] == [a_day(20), a_day(3), a_day(2)]
        assert [span.since for span in await store.history(HALL, "mqtt.connected")] == [a_day(30)]
        assert [span.value for span in await store.history(HALL, "mqtt.port")] == [1, 2, 3, 4]


async def test_reasons_that_nothing_speaks_of_any_more_go(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(a_day(5), "digest")
        times = [a_day(5) + timedelta(minutes=number) for number in range(30)]
        await store.keep_readings(run, [unreadable(f"status {at.minute}", at=at) for at in times])
        await store.keep_findings(run, [finding("unverified", value=None, remark="no answer")], a_day(5))
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert [one.reason for one in await store.readings_of(HALL)] == ["status 0"]
        assert (await store.open_findings())[0].point == "hall-lights"
    assert ask(path, "SELECT text FROM word WHERE text LIKE 'status %'") == [("status 0",)]
    assert ask(path, "PRAGMA foreign_key_check") == []


async def test_strangers_that_answered_are_bounded_and_what_belongs_here_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(thinning, "MAX_STRANGERS", 3)
    async with Store.open(tmp_path / "house.db") as store:
        for number in range(8):
            at = a_day(10 - number)
            run = await store.begin_run(at, "digest")
            stranger = device(sighting(f"Quill-{number}", at=at), name=f"Quill-{number}")
            await store.keep_devices(run, [stranger])
            await store.keep_readings(run, [snapshot(device=stranger.id, at=at)])
        await store.keep_placements(run, {"hall-lights": "name:Quill-0"}, a_day(3))
        agreed = SignOff(device="name:Quill-1", point=None, at=a_day(3), who="Wren Okafor", why="seen", values={})
        await store.sign_off([agreed])
        await agree_on_the_day(store)

        await store.thin(MIDNIGHT, RETENTION)

        assert [known.id for known in await store.known_devices()] == [
            f"name:Quill-{number}" for number in (0, 1, 5, 6, 7)
        ]
