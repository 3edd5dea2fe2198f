"""A device keeps its history when its identity becomes better known."""

from dataclasses import replace
from pathlib import Path

from pattress.model.finding import Subject
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, ask, device, finding, minutes, row_counts, sighting, snapshot
from unit.store.watched import COMPANY, TOLD, TRIED, tried

BY_NAME = device(sighting("hall"), name="hall")
BY_SERIAL = device(sighting("hall", serial="S1"), serial="S1", name="hall")
BY_MAC = device(sighting("hall", serial="S1", mac=MAC, at=minutes(5)), mac=MAC, serial="S1", name="hall")


async def test_a_device_known_by_name_and_then_by_mac_is_one_device(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME])
        await store.keep_readings(run, [snapshot({"mqtt.port": 1883}, device="name:hall")])

        await store.keep_devices(run, [BY_MAC])

        assert [known.id for known in await store.known_devices()] == [HALL]
        assert [span.value for span in await store.history(HALL)] == [1883]
        assert len(await store.readings_of(HALL)) == 1


async def test_each_step_from_name_to_serial_to_mac_keeps_the_row(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        for known_as in (BY_NAME, BY_SERIAL, BY_MAC):
            await store.keep_devices(run, [known_as])

        assert [known.id for known in await store.known_devices()] == [HALL]
    assert row_counts(tmp_path / "house.db")["device"] == 1
    assert ask(tmp_path / "house.db", "SELECT id FROM former_id ORDER BY id") == [("name:hall",), ("serial:S1",)]


async def test_a_former_id_still_finds_the_device(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME])
        await store.keep_devices(run, [BY_MAC])

        await store.keep_readings(run, [snapshot({"mqtt.port": 1883}, device="name:hall", at=minutes(6))])

        assert await store.history("name:hall") == await store.history(HALL) != []
        assert [reading.device for reading in await store.readings_of("name:hall")] == [HALL]
    assert row_counts(tmp_path / "house.db")["device"] == 1


async def test_an_id_that_a_new_device_takes_means_that_device(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME])
        await store.keep_devices(run, [BY_MAC])

        await store.keep_devices(run, [BY_NAME])
        await store.keep_readings(run, [snapshot({"mqtt.port": 8883}, device="name:hall", at=minutes(6))])

        assert [known.id for known in await store.known_devices()] == [HALL, "name:hall"]
        assert await store.history(HALL) == []
        assert [span.value for span in await store.history("name:hall")] == [8883]


async def test_two_rows_that_turn_out_to_be_one_device_are_joined_without_overlap(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        nameless = device(sighting(None, mac=MAC, at=minutes(3)), mac=MAC)
        await store.keep_devices(run, [BY_NAME, nameless])
        port, tls = "mqtt.port", "mqtt.tls"
        await store.keep_readings(
            run,
            [
                snapshot({port: 1, tls: False}, device="name:hall", at=minutes(1)),
                snapshot({port: 2}, device=HALL, at=minutes(3)),
                snapshot({port: 3, tls: True}, device="name:hall", at=minutes(4)),
            ],
        )

        await store.keep_devices(run, [BY_MAC])

        assert [known.id for known in await store.known_devices()] == [HALL]
        assert [(span.setting, span.value, span.since, span.until) for span in await store.history(HALL)] == [
            (port, 1, minutes(1), minutes(3)),
            (port, 2, minutes(3), None),
            (tls, False, minutes(1), minutes(4)),
            (tls, True, minutes(4), None),
        ]
        assert len(await store.readings_of(HALL)) == 3
    assert row_counts(tmp_path / "house.db")["device"] == 1


async def test_joining_closes_the_findings_of_the_former_row(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME, device(sighting(None, mac=MAC), mac=MAC)])
        both = [finding(about=Subject(device=one)) for one in ("name:hall", HALL)]
        await store.keep_findings(run, both, minutes(1))

        await store.keep_devices(run, [BY_MAC])
        left = await store.open_findings()
        await store.keep_findings(run, [finding(about=Subject(device=HALL))], minutes(6))

        assert len(left) == 1
        assert [(one.device, one.opened_at) for one in await store.open_findings()] == [(HALL, minutes(1))]
    assert ask(tmp_path / "house.db", "SELECT count(*) FROM finding WHERE closed_at IS NOT NULL") == [(1,)]


async def test_the_id_of_another_device_of_the_same_moment_is_not_taken_over(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME])
        await store.keep_readings(run, [snapshot({"mqtt.port": 1883}, device="name:hall")])

        await store.keep_devices(run, [BY_MAC, BY_NAME])

        assert [known.id for known in await store.known_devices()] == [HALL, "name:hall"]
        assert await store.history(HALL) == []
        assert len(await store.history("name:hall")) == 1


async def test_a_name_that_came_only_by_an_address_takes_nothing_over(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting("telephone", kind=None), name="telephone")])
        module = device(sighting("hall", mac=MAC), sighting("telephone", kind=None), mac=MAC, name="hall")

        await store.keep_devices(run, [module])

        assert [known.id for known in await store.known_devices()] == [HALL, "name:telephone"]


async def test_encounters_follow_a_device_to_its_better_id(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME])
        company, told = [replace(COMPANY, device="name:hall")], [replace(TOLD, device="name:hall")]
        await store.keep_encounters([tried(device="name:hall")], [], company, told=told)

        await store.keep_devices(run, [BY_MAC])

        assert await store.encounters(since=NIGHT) == await store.encounters(since=NIGHT, device="name:hall") == [TRIED]
        assert await store.company(NIGHT, "name:hall") == [COMPANY]
        assert await store.told() == [TOLD]


async def test_counts_that_a_stranger_drove_to_the_bound_keep_two_rows_from_nothing(tmp_path: Path) -> None:
    most = (1 << 63) - 1
    driven = replace(TOLD, count=most, octets=most, told_count=most)
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME, device(sighting(None, mac=MAC), mac=MAC)])
        for one in ("name:hall", HALL):
            await store.keep_encounters([], [], [], told=[replace(driven, device=one)])

        await store.keep_devices(run, [BY_MAC])

        assert await store.told() == [replace(driven, device=HALL)]


async def test_encounters_of_two_rows_that_turn_out_to_be_one_device_are_joined(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [BY_NAME, device(sighting(None, mac=MAC), mac=MAC)])
        for one in ("name:hall", HALL):
            more = tried(device=one, remote=f"2001:db8::{len(one)}")
            told = [replace(TOLD, device=one), replace(TOLD, device=one, place=one, told_at=None)]
            company = [replace(COMPANY, device=one, ports=len(one))]
            await store.keep_encounters([tried(device=one), more], [], company, told=told)

        await store.keep_devices(run, [BY_MAC])

        kept = await store.encounters(since=NIGHT)
        assert {one.device for one in kept} == {HALL}
        assert {(one.remote, one.count) for one in kept} == {
            (TRIED.remote, 2),
            ("2001:db8::9", 1),
            (f"2001:db8::{len(HALL)}", 1),
        }
        assert await store.company(NIGHT) == [replace(COMPANY, ports=len(HALL))]
        assert [(one.place, one.count, one.told_at, one.told_count) for one in await store.told()] == [
            ("203.0.113.0/24", 8, NIGHT, 2),
            (HALL, 4, None, 1),
            ("name:hall", 4, None, 1),
        ]
    assert row_counts(tmp_path / "house.db")["device"] == 1


async def test_an_address_that_nobody_could_place_takes_nothing_over(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_encounters([tried(device="address:192.0.2.17")], [], [])

        await store.keep_devices(run, [BY_MAC])

        assert [one.device for one in await store.encounters(since=NIGHT)] == ["address:192.0.2.17"]
