"""Devices and their sightings: updated, not appended, and bounded."""

from datetime import timedelta
from pathlib import Path

import pytest

from pattress.model.kept import KnownDevice
from pattress.store import devices as devices_module
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, ask, device, minutes, row_counts, sighting, snapshot, unreadable


async def test_a_device_comes_back_as_it_was_seen(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(at=minutes(1)), mac=MAC, serial="S1", name="Quill-1")])

        assert await store.known_devices() == [
            KnownDevice(
                id=HALL,
                mac=MAC,
                serial="S1",
                name="Quill-1",
                kind="tidewire-r1",
                address="192.0.2.17",
                port=80,
                first_seen=minutes(1),
                last_seen=minutes(1),
                last_read=None,
                last_outcome=None,
            )
        ]


async def test_the_same_sighting_again_is_counted_and_not_added(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        for minute in (1, 2, 3):
            await store.keep_devices(run, [device(sighting(at=minutes(minute)), mac=MAC)])

    at = [int(minutes(minute).timestamp() * 1000) for minute in (1, 3)]
    assert ask(tmp_path / "house.db", "SELECT first_seen, last_seen, count FROM sighting") == [(*at, 3)]


async def test_another_address_is_another_sighting_and_the_device_is_there(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(), mac=MAC)])
        await store.keep_devices(run, [device(sighting(address="192.0.2.99", at=minutes(5)), mac=MAC)])

        (known,) = await store.known_devices()
        assert known.address == "192.0.2.99"
    assert row_counts(tmp_path / "house.db")["sighting"] == 2


@pytest.mark.parametrize("source", ["kept", "point"])
async def test_what_the_plan_or_the_database_says_is_no_evidence(source: str, tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(source=source), mac=MAC)])

        assert await store.known_devices() == []
        assert (await store.runs())[0].device_count == 0
    assert row_counts(tmp_path / "house.db")["sighting"] == 0


async def test_a_device_that_answered_is_seen_without_a_sighting_row(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(source="reading"), mac=MAC)])

        assert [known.id for known in await store.known_devices()] == [HALL]
    assert row_counts(tmp_path / "house.db")["sighting"] == 0


async def test_an_undated_announcement_does_not_make_a_device_seen_again(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting(at=minutes(1)), mac=MAC)])

        await store.keep_devices(
            run, [device(sighting(source="mqtt", name="tidewire/1/here", at=minutes(9), is_dated=False), mac=MAC)]
        )

        assert (await store.known_devices())[0].last_seen == minutes(1)


async def test_a_device_that_only_undated_evidence_speaks_of_is_known(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(source="lease", at=minutes(9), is_dated=False), mac=MAC)])

        (known,) = await store.known_devices()
    assert (known.first_seen, known.last_seen) == (minutes(9), minutes(9))


async def test_what_is_not_known_this_time_stays(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting(), mac=MAC, serial="S1", name="Quill-1")])

        await store.keep_devices(run, [device(sighting(name=None, address=None, at=minutes(5)), mac=MAC)])

        (known,) = await store.known_devices()
        assert (known.serial, known.name, known.address, known.port) == ("S1", "Quill-1", "192.0.2.17", 80)


async def test_a_device_that_was_only_tried_in_vain_is_not_known(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [unreadable()])

        assert await store.known_devices() == []
        assert len(await store.readings_of(HALL)) == 1


async def test_the_newest_attempt_and_the_newest_snapshot_are_told_apart(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_readings(run, [snapshot(at=minutes(1)), unreadable(at=minutes(2))])

        (known,) = await store.known_devices()
        assert (known.last_read, known.last_outcome) == (minutes(1), "unreadable")


async def test_a_stranger_cannot_make_the_sightings_of_a_device_grow(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        names = [sighting(f"name-{number}", at=minutes(number)) for number in range(100)]

        await store.keep_devices(run, [device(*names, mac=MAC)])

    kept = ask(tmp_path / "house.db", "SELECT name FROM sighting ORDER BY last_seen")
    assert kept == [(f"name-{number}",) for number in range(100 - devices_module.MAX_SIGHTINGS_PER_DEVICE, 100)]


async def test_too_many_strangers_are_forgotten_and_read_devices_never(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(devices_module, "MAX_NEVER_READ_DEVICES", 3)
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        strangers = [device(sighting(at=minutes(n)), name=f"stranger-{n}") for n in range(5)]
        await store.keep_devices(run, [device(sighting(), mac=MAC), *strangers])
        await store.keep_readings(run, [snapshot()])
        tonight = await store.known_devices()

        tomorrow = await store.begin_run(NIGHT + timedelta(days=1), "digest")
        await store.keep_devices(tomorrow, [])

        assert len(tonight) == 6  # what was seen in a run is not forgotten in it
        left = [known.id for known in await store.known_devices()]
        assert left == [HALL, "name:stranger-2", "name:stranger-3", "name:stranger-4"]


async def test_a_run_that_does_not_exist_keeps_nothing(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(ValueError, match="no run 7"):
            await store.keep_devices(7, [device(sighting(), mac=MAC)])

        assert await store.known_devices() == []
