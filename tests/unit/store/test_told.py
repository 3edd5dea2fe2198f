"""What was told, and templates, outlive a restart."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from pattress.store import told
from pattress.store.store import Store
from pattress.store.told import TOLD_KINDS
from unit.store.builders import HALL, NIGHT, minutes
from unit.store.watched import TEMPLATE, TOLD


async def test_what_was_told_comes_back_after_a_restart(tmp_path: Path) -> None:
    waiting = replace(TOLD, place="a.example", told_at=None, told_count=0)
    all_kinds = [replace(TOLD, device="address:192.0.2.9", kind=kind) for kind in TOLD_KINDS]
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [], [], told=[waiting, TOLD, *reversed(all_kinds)])

    async with Store.open(tmp_path / "house.db") as store:
        assert await store.told() == [*all_kinds, TOLD, waiting]


async def test_one_device_kind_and_place_is_told_once(tmp_path: Path) -> None:
    later = replace(TOLD, last_at=minutes(9), count=9, told_count=9, told_at=minutes(9))
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [], [], told=[TOLD])
        await store.keep_encounters([], [], [], told=[later])

        assert await store.told() == [later]


async def test_the_places_of_one_device_are_bounded_and_the_newest_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(told, "MAX_TOLD_PER_DEVICE", 3)
    many = [replace(TOLD, place=f"203.0.113.{number}", last_at=minutes(number)) for number in range(8)]
    other = replace(TOLD, device="address:192.0.2.9")
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [], [], told=[other, *many])

        assert [one.place for one in await store.told() if one.device == HALL] == [one.place for one in many[5:]]
        assert other in await store.told()


async def test_templates_replace_all_that_were_kept_before(tmp_path: Path) -> None:
    both = [TEMPLATE, replace(TEMPLATE, template=257, is_options=True, record=b"\x00\xff")]
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_templates([replace(TEMPLATE, exporter="192.0.2.77")])
        await store.keep_templates(both)

    async with Store.open(tmp_path / "house.db") as store:
        assert await store.templates() == both
        await store.keep_templates([])
        assert await store.templates() == []


async def test_templates_are_bounded_by_their_size_and_the_newest_stay(tmp_path: Path) -> None:
    large = [
        replace(TEMPLATE, template=256 + number, record=bytes(60_000), at=NIGHT - timedelta(hours=number))
        for number in range(30)
    ]
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_templates(large)

        assert await store.templates() == large[: (1 << 20) // 60_064]


async def test_of_two_templates_with_one_number_the_newer_stays(tmp_path: Path) -> None:
    newer = replace(TEMPLATE, at=minutes(1), record=b"new")
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_templates([newer, TEMPLATE])

        assert await store.templates() == [newer]


async def test_places_replace_all_that_were_kept_before(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [], [], places={"resolver": "a", "log": "b"})
        await store.keep_encounters([], [], [], places={"resolver": "c"})

    async with Store.open(tmp_path / "house.db") as store:
        assert await store.places() == {"resolver": "c"}
