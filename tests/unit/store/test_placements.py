"""Who stood where, and the history of a point through the replacement of its module."""

import itertools
import tempfile
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattress.model.kept import Placement
from pattress.store.placements import keep_placements, placements
from pattress.store.runs import begin_run
from pattress.store.store import Store
from pattress.store.transactions import write_transaction
from unit.store.builders import HALL, MAC, NIGHT, device, minutes, opened, sighting, snapshot

OTHER = "serial:S2"


def placed(device_id: str, since: float, until: float | None = None, point: str = "hall") -> Placement:
    ended = None if until is None else minutes(until)
    return Placement(point=point, device=device_id, since=minutes(since), until=ended)


async def test_only_a_change_makes_a_new_placement(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        for minute, found in enumerate([{"hall": HALL}, {"hall": HALL}, {}, {"hall": OTHER}, {"hall": OTHER}]):
            await store.keep_placements(run, found, minutes(minute))

        assert await store.placements() == [placed(HALL, 0, 3), placed(OTHER, 3)]


async def test_a_point_that_is_not_spoken_of_keeps_its_device(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_placements(run, {"hall": HALL}, minutes(0))

        await store.keep_placements(run, {"yard": OTHER}, minutes(1))

        assert await store.placements() == [placed(HALL, 0), placed(OTHER, 1, point="yard")]


async def test_a_device_that_is_found_elsewhere_left_its_place(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_placements(run, {"hall": HALL}, minutes(0))

        await store.keep_placements(run, {"yard": HALL}, minutes(1))

        assert await store.placements() == [placed(HALL, 0, 1), placed(HALL, 1, point="yard")]


async def test_a_run_that_is_not_there_is_a_mistake(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(ValueError, match="there is no run 7"):
            await store.keep_placements(7, {"hall": HALL}, NIGHT)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(-3, 10),
            st.dictionaries(st.sampled_from(["hall", "yard"]), st.sampled_from([HALL, OTHER, "name:Quill-1"])),
        ),
        max_size=10,
    )
)
def test_at_a_point_stands_one_device_at_a_time_whatever_the_clock_does(
    steps: list[tuple[int, dict[str, str]]],
) -> None:
    clock = 0
    with tempfile.TemporaryDirectory() as folder, opened(Path(folder) / "house.db") as database:
        with write_transaction(database):
            run = begin_run(database, NIGHT, "digest")
            for after, found in steps:
                clock += after
                keep_placements(database, run, found, minutes(clock))
                standing = {one.point: one.device for one in placements(database) if one.until is None}
                assert {point: standing[point] for point in found} == found
        kept = placements(database)

    for earlier, later in itertools.pairwise(kept):
        if earlier.point == later.point:
            assert earlier.until is not None
            assert earlier.since < earlier.until <= later.since


async def test_the_history_of_a_point_is_that_of_each_device_while_it_stood_there(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        for minute, port in ((-60, 1), (10, 2), (50, 3)):
            await store.keep_readings(run, [snapshot({"mqtt.port": port, "mqtt.tls": True}, at=minutes(minute))])
        await store.keep_readings(run, [snapshot({"mqtt.port": 9}, device=OTHER, at=minutes(20))])
        await store.keep_placements(run, {"hall": HALL}, minutes(0))
        await store.keep_placements(run, {"hall": OTHER}, minutes(30))

        ports = await store.history_of_point("hall", "mqtt.port")
        every = await store.history_of_point("hall")

    assert [(one.device, one.value, one.since, one.until) for one in ports] == [
        (HALL, 1, minutes(0), minutes(10)),
        (HALL, 2, minutes(10), minutes(30)),
        (OTHER, 9, minutes(30), None),
    ]
    assert [one for one in every if one.setting == "mqtt.port"] == ports
    assert [(one.since, one.until) for one in every if one.setting == "mqtt.tls"] == [(minutes(0), minutes(30))]


@pytest.mark.parametrize(("at", "port"), [(-1, None), (0, 1), (9.99, 1), (10, 2), (29.99, 2), (30, 9), (1e6, 9)])
async def test_a_point_and_a_device_answer_for_a_moment(at: float, port: int | None, tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot({"mqtt.port": 1}, at=minutes(0))])
        await store.keep_readings(run, [snapshot({"mqtt.port": 2}, at=minutes(10))])
        await store.keep_readings(run, [snapshot({"mqtt.port": 9}, device=OTHER, at=minutes(30))])
        await store.keep_placements(run, {"hall": HALL}, minutes(0))
        await store.keep_placements(run, {"hall": OTHER}, minutes(30))
        moment: datetime = minutes(at)

        of_point = await store.history_of_point("hall", at=moment)
        of_device = await store.history(HALL, at=moment)

    assert [one.value for one in of_point] == ([] if port is None else [port])
    assert [one.value for one in of_device] == ([] if port is None else [min(port, 2)])


async def test_a_point_where_nothing_stood_has_no_history(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        assert await store.history_of_point("'; DROP TABLE placement; --") == []
        assert await store.placements() == []


async def test_what_turned_out_to_be_one_device_was_no_replacement(tmp_path: Path) -> None:
    by_name = "name:Quill-1"
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting("Quill-1"), name="Quill-1")])
        await store.keep_devices(run, [device(sighting("Quill-2", mac=MAC), mac=MAC)])
        for minute, found in enumerate([by_name, HALL, by_name, OTHER, by_name]):
            await store.keep_placements(run, {"hall": found}, minutes(minute))

        await store.keep_devices(run, [device(sighting("Quill-1", mac=MAC), mac=MAC, name="Quill-1")])

        assert await store.placements() == [placed(HALL, 0, 3), placed(OTHER, 3, 4), placed(HALL, 4)]
