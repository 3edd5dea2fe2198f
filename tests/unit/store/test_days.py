"""Readings are the same whether they stand in rows of their own or in one for a day."""

from datetime import timedelta
from pathlib import Path

from sqlite_utils import Database

from pattress.model.kept import KeptReading, Measurement
from pattress.store.days import FEW, damaged_days, keep_day, readings_of_day
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, ask, device, minutes, sighting, snapshot, unreadable

TODAY = int(NIGHT.timestamp()) // 86_400


def pack_day(database: Database, day: int = TODAY, stage: int = 0) -> None:
    for (key,) in database.execute("SELECT key FROM device").fetchall():
        keep_day(database, key, day, stage, readings_of_day(database, key, day))


async def fill(store: Store, *, device_id: str = HALL, count: int = 40, first: int = 0) -> int:
    """Readings five minutes apart, each third of which failed."""
    run = await store.begin_run(NIGHT, "digest")
    await store.keep_readings(
        run,
        [
            unreadable(f"status {number % 2}", device=device_id, at=minutes(5 * number))
            if number % 3 == 2
            else snapshot(
                {"meter.1.power_w": number / 10, "health.restarts": 3}, device=device_id, at=minutes(5 * number)
            )
            for number in range(first, first + count)
        ],
    )
    return run


async def everything(store: Store) -> list[KeptReading]:
    return await store.readings_of(HALL, limit=1000)


async def test_packing_a_day_changes_nothing_that_is_told_of_it(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        await fill(store)
        before = await everything(store)

        await store._connection.write(pack_day)

        assert await everything(store) == before
        assert [one.outcome for one in before].count("unreadable") == 13
    assert ask(path, "SELECT count(*) FROM reading") == [(0,)]
    assert ask(path, "SELECT count(*) FROM reading_day") == [(1,)]


async def test_the_newest_are_given_first_across_both_forms(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await fill(store)
        await store._connection.write(pack_day)
        await fill(store, count=5, first=38)  # two of them in both forms, by another run

        newest = await store.readings_of(HALL, limit=9)

    assert [(one.run, one.taken_at) for one in newest] == [
        (2, minutes(5 * 42)),
        (2, minutes(5 * 41)),
        (2, minutes(5 * 40)),
        (2, minutes(5 * 39)),
        (1, minutes(5 * 39)),
        (2, minutes(5 * 38)),
        (1, minutes(5 * 38)),
        (1, minutes(5 * 37)),
        (1, minutes(5 * 36)),
    ]


async def test_few_readings_of_a_day_stand_in_rows_of_their_own(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        await fill(store, count=FEW)
        before = await everything(store)

        await store._connection.write(pack_day)

        assert await everything(store) == before
    assert ask(path, "SELECT count(*) FROM reading_day") == [(0,)]


async def test_measurements_are_those_of_a_time_across_both_forms(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await fill(store)
        await store._connection.write(pack_day)
        await fill(store, count=3, first=40)

        found = await store.measurements(HALL, "meter.1.power_w", minutes(5 * 36), minutes(5 * 42))

        assert found == [Measurement(taken_at=minutes(5 * number), value=number / 10) for number in (36, 37, 39, 40)]
        assert await store.measurements(HALL, "meter.9.power_w", minutes(0), minutes(999)) == []
        assert await store.measurements("mac:unknown", "meter.1.power_w", minutes(0), minutes(999)) == []


async def test_a_device_that_becomes_better_known_keeps_its_packed_days(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting("Quill-1"), name="Quill-1")])
        await fill(store, device_id="name:Quill-1", count=20)
        await fill(store, device_id=HALL, count=20, first=10)
        await store._connection.write(pack_day)

        run = await store.begin_run(NIGHT + timedelta(days=1), "digest")
        await store.keep_devices(run, [device(sighting("Quill-1", mac=MAC), mac=MAC, name="Quill-1")])

        joined = await everything(store)
        assert [(one.taken_at, one.run) for one in reversed(joined)] == sorted(
            [(minutes(5 * number), 2) for number in range(20)] + [(minutes(5 * number), 3) for number in range(10, 30)]
        )


async def test_a_device_that_reports_now_this_and_now_that_makes_no_new_layout_each_day(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot({"meter.1.power_w": 1.5, "net.rssi_dbm": -60})])
        for day in range(1, 4):
            name = ("meter.1.power_w", "net.rssi_dbm")[day % 2]
            at = [NIGHT + timedelta(days=day, minutes=5 * number) for number in range(20)]
            await store.keep_readings(run, [snapshot({name: -7}, at=one) for one in at])
            await store._connection.write(lambda database, day=day: pack_day(database, TODAY + day))

    assert ask(path, "SELECT count(*) FROM layout") == [(1,)]
    assert ask(path, "SELECT count(*) FROM reading_day") == [(3,)]


async def test_a_day_that_cannot_be_unpacked_is_found(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await fill(store)
        await store._connection.write(pack_day)
        assert await store._connection.read(lambda database: list(damaged_days(database))) == []

        await store._connection.write(lambda database: database.execute("UPDATE reading_day SET packed = x'00'"))

        (problem,) = await store._connection.read(lambda database: list(damaged_days(database)))
    assert "row 1 of reading_day cannot be unpacked" in problem
