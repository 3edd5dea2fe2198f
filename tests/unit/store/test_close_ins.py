"""Every try of every step of a close-in check is kept, and comes back in the order in which steps are done."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from pattress.model.closein import STEP_KINDS
from pattress.model.errors import StoreError
from pattress.model.kept import Retention
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, ask, device, minutes, sighting
from unit.store.checked import PLANNED, keep_a_check, result, sample, warming


async def test_a_check_comes_back_as_it_was_kept_with_the_newest_result_of_each_step(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await keep_a_check(store)

        found = await store.close_in(number)

    closed, ssid = sample("input.1.closed", True), sample("net.ssid", "é\n")
    assert (found.point, found.who, found.device) == ("hall-lights", "Wren Okafor", HALL)
    assert (found.began_at, found.ended_at, found.is_signed_off) == (NIGHT, minutes(20), True)
    assert found.planned == PLANNED
    assert found.results == (
        result("input.1", samples=[closed, ssid], number=2),
        result("heat", minute=1, samples=warming(120, minute=1)),
    )


async def test_every_try_is_kept_with_its_number(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)

        counted = [
            await store.keep_step(number, result(outcome=outcome, minute=minute))
            for minute, outcome in enumerate(("broken", "unverified", "skipped", "met"))
        ]

        tries = await store.tries_of(number, "heat")
        newest = (await store.close_in(number)).results
    assert counted == [1, 2, 3, 4]
    assert [(one.number, one.outcome) for one in tries] == [
        (1, "broken"),
        (2, "unverified"),
        (3, "skipped"),
        (4, "met"),
    ]
    assert [one.number for one in newest] == [4]


async def test_steps_come_in_the_order_in_which_they_are_done(tmp_path: Path) -> None:
    channels = ["input.10", "input.2", "drive.1", "output.1", "input.1"]
    done = [*reversed([kind for kind in STEP_KINDS if kind not in ("input", "drive", "output")]), *channels]
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        for step in done:
            await store.keep_step(number, result(step))

        found = await store.close_in(number)

    assert [one.step for one in found.results] == [
        *("found", "recognised", "settings", "fit", "input.1", "input.2", "input.10", "drive.1", "output.1"),
        *("radio", "heat", "power-cut", "outside", "sign-off"),
    ]


async def test_a_check_that_was_stopped_can_be_taken_up_again(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        await store.close_in_device(number, HALL)
        await store.keep_step(number, result("found"))
        await store.keep_samples(number, "heat", warming(5, minute=9))

    async with Store.open(path) as store:
        taken_up = await store.open_close_in("hall-lights")

        assert taken_up is not None
        assert (taken_up.id, taken_up.device, [one.step for one in taken_up.results]) == (number, HALL, ["found"])
        assert await store.samples_of(number, "heat") == warming(5, minute=9)
        assert await store.open_close_in("hall-fan") is None


async def test_what_was_read_in_a_try_that_was_cut_short_is_no_part_of_the_next_result(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        await store.keep_samples(number, "heat", warming(5))
        await store.keep_samples(number, "heat", warming(30, minute=60))

        counted = await store.keep_step(number, result(minute=60, samples=[sample(value=60.0, minute=66)]))

        found = await store.close_in(number)
        cut_short = await store.samples_of(number, "heat", 1)
        nothing = await store.samples_of(number, "radio")
    assert counted == 2
    assert found.results[0].samples == (*warming(30, minute=60), sample(value=60.0, minute=66))
    assert cut_short == warming(5)
    assert nothing == []


async def test_of_one_point_only_one_check_is_open(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        other = await store.begin_close_in("hall-fan", "Wren Okafor", NIGHT)

        with pytest.raises(StoreError, match=f"close-in check {number} of it has not ended"):
            await store.begin_close_in("hall-lights", "Ash Vance", minutes(1))

        await store.end_close_in(number, minutes(2), is_signed_off=False)
        again = await store.begin_close_in("hall-lights", "Ash Vance", minutes(3))
        assert [one.id for one in await store.close_ins("hall-lights")] == [number, again]
        assert [one.id for one in await store.close_ins()] == [number, other, again]


async def test_a_check_that_ended_does_not_change(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await keep_a_check(store)
        before = await store.close_in(number)

        for change in (
            store.keep_step(number, result("radio")),
            store.keep_samples(number, "radio", warming(2)),
            store.close_in_device(number, "serial:S2"),
            store.end_close_in(number, minutes(30), is_signed_off=False),
        ):
            with pytest.raises(StoreError, match="has ended"):
                await change

        assert await store.close_in(number) == before


async def test_an_unknown_check_is_said(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(StoreError, match="no such check"):
            await store.close_in(7)
        with pytest.raises(StoreError, match="no such check"):
            await store.keep_step(7, result())


async def test_a_step_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT)
        await store.keep_samples(number, "heat", warming(3))

        for wrong in (
            result(facts={"settles_c": float("nan")}, samples=warming(9)),
            replace(result(samples=warming(9)), ended_at=datetime(2026, 3, 1)),
        ):
            with pytest.raises(ValueError, match=r"not a number|no time zone"):
                await store.keep_step(number, wrong)

        assert await store.tries_of(number) == []
        assert await store.samples_of(number, "heat") == warming(3)


async def test_a_device_that_becomes_better_known_keeps_its_check(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting("Quill-1"), name="Quill-1")])
        await store.keep_devices(run, [device(sighting("Quill-2", mac=MAC), mac=MAC)])
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT, "name:Quill-1")

        await store.keep_devices(run, [device(sighting("Quill-1", mac=MAC), mac=MAC, name="Quill-1")])

        assert (await store.close_in(number)).device == HALL


async def test_a_device_of_a_check_is_not_forgotten_among_strangers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pattress.store.devices.MAX_NEVER_READ_DEVICES", 1)
    monkeypatch.setattr("pattress.store.thinning.MAX_STRANGERS", 0)
    monkeypatch.setattr("pattress.store.thinning.AGREEING_RUNS", 1)
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT, HALL)
        run = await store.begin_run(minutes(60), "digest")
        names = [f"Quill-{count}" for count in range(4)]
        await store.keep_devices(run, [device(sighting(name, at=minutes(50)), name=name) for name in names])
        run = await store.begin_run(NIGHT + timedelta(days=9), "digest")
        await store.keep_devices(run, [])
        await store.end_run(run, NIGHT + timedelta(days=9), {})

        await store.thin(NIGHT + timedelta(days=9))

        assert (await store.close_in(number)).device == HALL
        assert [known.id for known in await store.known_devices() if known.id.startswith("name:")] == []


async def test_only_what_was_read_in_a_check_that_was_given_up_goes_with_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pattress.store.thinning.AGREEING_RUNS", 1)
    retention = Retention(every_days=1, hourly_days=2, daily_days=3)
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        signed = await keep_a_check(store)
        given_up = await store.begin_close_in("hall-fan", "Wren Okafor", NIGHT)
        await store.keep_step(given_up, result(outcome="broken", samples=warming(50)))
        await store.end_close_in(given_up, minutes(20), is_signed_off=False)
        still_open = await store.begin_close_in("hall-fan", "Wren Okafor", minutes(21))
        await store.keep_samples(still_open, "heat", warming(50))
        before = [await store.close_in(number) for number in (signed, given_up)]
        for days in (2, 30):
            later = NIGHT + timedelta(days=days)
            run = await store.begin_run(later, "digest")
            await store.end_run(run, later, {})

            await store.compact(later, retention)

            assert await store.close_in(signed) == before[0]
            assert await store.samples_of(still_open, "heat") == warming(50)
            kept = await store.close_in(given_up)
            gone = replace(before[1], results=tuple(replace(one, samples=()) for one in before[1].results))
            assert kept == (before[1] if days == 2 else gone)
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]
