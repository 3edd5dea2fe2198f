"""A reading is one small row; what is absent and what could not be read are two things."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, RELAY, ask, minutes, row_counts, snapshot, unreadable
from unit.store.growth import growth_of_unchanged_readings


async def test_an_unchanged_reading_costs_one_row_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot()])
        before = row_counts(path)

        await store.keep_readings(run, [snapshot(RELAY | {"meter.1.power_w": 39.2}, at=minutes(1))])

        assert row_counts(path) == before | {"reading": before["reading"] + 1}


async def test_unchanged_readings_of_sixty_devices_take_under_20_megabytes_a_year(tmp_path: Path) -> None:
    growth = await growth_of_unchanged_readings(tmp_path / "house.db", device_count=60, nights=40)

    assert growth.reading_count == 2400
    assert growth.bytes_per_reading * 60 * 365 < 20e6 / 4  # a quarter, so that findings and changes have their room


async def test_measurements_come_back_from_the_reading_and_settings_from_spans(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot()])

        (reading,) = await store.readings_of(HALL)
        assert reading.measurements == {"net.rssi_dbm": -61, "meter.1.power_w": 41.7, "health.uptime_s": 86_400}
        spans = {span.setting: span.value for span in await store.history(HALL)}
        assert spans == {name: value for name, value in RELAY.items() if name not in reading.measurements}
        assert (reading.run, reading.taken_at, reading.outcome, reading.reason) == (run, NIGHT, "read", None)


async def test_the_newest_readings_come_first_and_no_more_than_asked_for(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot(at=minutes(minute)) for minute in range(5)])

        newest = await store.readings_of(HALL, limit=2)

        assert [reading.taken_at for reading in newest] == [minutes(4), minutes(3)]


async def test_a_device_that_nobody_knows_has_no_readings_and_no_history(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        assert await store.readings_of("name:nobody") == []
        assert await store.history("name:nobody") == []


async def test_a_setting_that_is_no_longer_reported_ends(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot({"mqtt.tls": True}), snapshot({}, at=minutes(1))])

        assert [(span.since, span.until) for span in await store.history(HALL)] == [(NIGHT, minutes(1))]


@pytest.mark.parametrize("subject", ["mqtt.tls", "facts"], ids=["the setting", "a document"])
async def test_a_setting_that_could_not_be_read_goes_on(subject: str, tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(
            run, [snapshot({"mqtt.tls": True}), snapshot({}, at=minutes(1), errors={subject: "status 500"})]
        )

        assert [(span.since, span.until) for span in await store.history(HALL)] == [(NIGHT, None)]
        assert (await store.readings_of(HALL))[0].reason == f"not read: {subject}: status 500"


async def test_an_error_about_one_setting_does_not_keep_another(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(
            run,
            [
                snapshot({"mqtt.tls": True, "mqtt.port": 8883}),
                snapshot({}, at=minutes(1), errors={"mqtt.tls": 'found text "yes"'}),
            ],
        )

        ends = {span.setting: span.until for span in await store.history(HALL)}
        assert ends == {"mqtt.tls": None, "mqtt.port": minutes(1)}


async def test_a_device_that_could_not_be_read_keeps_its_settings(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot(), unreadable(at=minutes(1))])

        assert {span.until for span in await store.history(HALL)} == {None}
        reading = (await store.readings_of(HALL))[0]
        assert (reading.outcome, reading.reason, reading.measurements) == ("unreadable", "no answer within 5 s", {})


async def test_the_same_reason_is_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [unreadable(at=minutes(minute)) for minute in range(10)])

    assert ask(path, "SELECT count(*) FROM word WHERE text = 'no answer within 5 s'") == [(1,)]


async def test_a_reading_without_a_time_zone_keeps_nothing_of_its_batch(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        naive = snapshot(at=datetime(2026, 3, 1, 2, 30))

        with pytest.raises(ValueError, match="no time zone"):
            await store.keep_readings(run, [snapshot(), naive])

        assert await store.readings_of(HALL) == []
        assert await store.history(HALL) == []


async def test_a_run_counts_what_was_read_and_what_was_not(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot(), unreadable(device="serial:S2")])
        await store.keep_readings(run, [snapshot(device="serial:S3")])

        (kept,) = await store.runs()
        assert (kept.read_count, kept.unreadable_count) == (2, 1)


async def test_a_clock_that_steps_back_loses_no_reading_and_no_order(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        early = NIGHT - timedelta(days=20_000)

        await store.keep_readings(run, [snapshot({"mqtt.port": 1}), snapshot({"mqtt.port": 2}, at=early)])

        assert [(span.value, span.since, span.until) for span in await store.history(HALL)] == [(2, NIGHT, None)]
        assert {reading.taken_at for reading in await store.readings_of(HALL)} == {NIGHT, early}
