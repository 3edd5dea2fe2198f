"""What is kept of an hour, and given back."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from pattress.model.encounter import Encounter
from pattress.store import encounters as module
from pattress.store.encounters import MAX_NAME_LENGTH
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask, minutes, row_counts
from unit.store.watched import COMPANY, HEARD, TOLD, TRIED, keep, tried


async def test_what_was_kept_comes_back_as_it_was(tmp_path: Path) -> None:
    asked = Encounter(kind="asked", device=HALL, remote="time.example", first_at=minutes(1), last_at=minutes(2))
    whole = replace(
        TRIED, kind="reached", name="time.example", packets_in=3, octets_in=90, remark="seen by a sample",
        first_at=minutes(4), last_at=minutes(5), sources=("resolver", "router-flows"),
    )  # fmt: skip
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([whole, asked], [HEARD], [COMPANY])

        assert await store.encounters(since=NIGHT) == [asked, whole]
        assert await store.hearings(NIGHT) == [HEARD]
        assert await store.company(NIGHT) == [COMPANY]


async def test_one_hour_of_one_remote_is_one_row(tmp_path: Path) -> None:
    later = replace(
        TRIED,
        first_at=minutes(10),
        last_at=minutes(12),
        name="a.example",
        remark="lower bound",
        sources=("router-log",),
    )
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, TRIED, later)
        await keep(store, replace(TRIED, first_at=minutes(-20), last_at=minutes(-20), name="b.example", octets_in=7))

        (row,) = await store.encounters(since=minutes(-60))

    assert row == replace(
        TRIED,
        first_at=minutes(-20),
        last_at=minutes(12),
        name="a.example",
        remark="lower bound",
        packets_out=6,
        octets_out=360,
        octets_in=7,
        count=3,
        sources=("router-flows", "router-log"),
    )


async def test_each_of_kind_remote_protocol_port_device_and_hour_makes_a_row(tmp_path: Path) -> None:
    others = [
        replace(TRIED, kind="reached"),
        replace(TRIED, remote="203.0.113.8"),
        replace(TRIED, protocol=17),
        replace(TRIED, port=None),
        replace(TRIED, device="address:192.0.2.99"),
        tried(minutes(30)),
    ]
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, TRIED, *others)

        assert await store.encounters(since=NIGHT) == sorted(
            [TRIED, *others],
            key=lambda one: (one.first_at, one.device, one.kind, one.remote, one.protocol, one.port or -1),
        )


async def test_an_encounter_counts_to_the_hour_of_utc_in_which_it_ended(tmp_path: Path) -> None:
    india = timezone(timedelta(hours=5, minutes=30))
    long = replace(TRIED, first_at=minutes(-90), last_at=minutes(29).astimezone(india))
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, long)
        await keep(store, tried(minutes(29)), tried(minutes(30)))

        kept = [(one.first_at, one.count) for one in await store.encounters(since=minutes(-90))]
    assert kept == [(minutes(-90), 2), (minutes(30), 1)]


@pytest.mark.parametrize(
    ("since", "until", "expected"),
    [
        (minutes(0), None, [5, 65]),
        (minutes(5), minutes(5), []),
        (minutes(6), minutes(65), []),
        (minutes(6), minutes(66), [65]),
        (minutes(-9999), minutes(60), [5]),
    ],
)
async def test_what_went_on_between_two_moments_is_given(
    since: datetime, until: datetime | None, expected: list[int], tmp_path: Path
) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, tried(minutes(5)), tried(minutes(65)))

        kept = await store.encounters(since=since, until=until)

    assert [one.first_at for one in kept] == [minutes(minute) for minute in expected]


async def test_one_device_can_be_asked_for_also_by_an_id_that_is_unknown(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([TRIED, tried(device="address:192.0.2.99")], [], [COMPANY])

        assert await store.encounters(since=NIGHT, device=HALL) == [TRIED]
        assert await store.company(NIGHT, HALL) == [COMPANY]
        assert await store.encounters(since=NIGHT, device="name:nobody") == []
        assert await store.company(NIGHT, "name:nobody") == []


async def test_an_hour_keeps_between_which_moments_a_source_was_listened_to(tmp_path: Path) -> None:
    silent = replace(HEARD, listened_s=0, listened_from=None, listened_until=None, heard=0, heard_at=None)
    before = replace(silent, listened_from=minutes(-20), listened_until=minutes(-18), listened_s=120.0)
    after = replace(HEARD, listened_from=minutes(20), listened_until=minutes(25), heard_at=minutes(24))
    async with Store.open(tmp_path / "house.db") as store:
        for one in (silent, silent, HEARD, silent, before, after):
            await store.keep_encounters([], [one], [])

        (heard,) = await store.hearings(minutes(0))

    assert (heard.listened_from, heard.listened_until, heard.heard_at) == (minutes(-20), minutes(25), minutes(24))
    assert heard.listened_s == 2 * HEARD.listened_s + 120.0


async def test_that_nobody_listened_is_kept_as_such(tmp_path: Path) -> None:
    silent = replace(HEARD, listened_s=0, listened_from=None, listened_until=None, heard=0, heard_at=None)
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [silent], [])

        assert await store.hearings(minutes(0)) == [silent]


async def test_hearings_add_up_and_of_company_the_most_counts(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.keep_encounters([], [HEARD, HEARD], [COMPANY, replace(COMPANY, hosts=1, ports=9)])
        await store.keep_encounters([], [HEARD], [replace(COMPANY, hosts=2, ports=1)])

        (heard,) = await store.hearings(minutes(20), minutes(21))

        assert heard == replace(HEARD, listened_s=5401.5, heard=120, lost=3, unmatched=6)
        assert await store.company(NIGHT) == [replace(COMPANY, hosts=3, ports=9)]
        assert await store.hearings(minutes(30)) == []
        assert await store.hearings(minutes(-90), minutes(-30)) == []


async def test_all_of_it_is_kept_or_nothing(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    nowhen = replace(
        TRIED, remote="203.0.113.9", first_at=NIGHT.replace(tzinfo=None), last_at=NIGHT.replace(tzinfo=None)
    )
    async with Store.open(path) as store:
        with pytest.raises(ValueError, match="no time zone"):
            await store.keep_encounters([TRIED, nowhen], [HEARD], [COMPANY])
        told = replace(TOLD, first_at=NIGHT.replace(tzinfo=None))
        with pytest.raises(ValueError, match="no time zone"):
            await store.keep_encounters([TRIED], [HEARD], [COMPANY], told=[told], places={"resolver": "a"})

    counts = row_counts(path)
    tables = ("encounter", "hearing", "company", "told", "place", "device")
    assert [counts[table] for table in tables] == [0, 0, 0, 0, 0, 0]


async def test_a_device_that_only_encounters_speak_of_is_none_that_was_seen(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, tried(device="address:192.0.2.99"))

        assert await store.known_devices() == []


async def test_addresses_that_nobody_can_place_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_UNSEEN_DEVICES", 3)
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, *(tried(device=f"address:192.0.2.{number}") for number in range(10)))
        await keep(store, tried(device="address:192.0.2.1"), tried(device="address:192.0.2.99"))

        kept = {one.device: one.count for one in await store.encounters(since=NIGHT)}

    assert kept == {"address:192.0.2.0": 1, "address:192.0.2.1": 2, "address:192.0.2.2": 1, "address:*": 8}


async def test_what_a_stranger_says_is_text_of_a_bounded_length(tmp_path: Path) -> None:
    hostile = "'; DROP TABLE encounter; --\n\x00\udcff" + "x" * 5000
    both = Encounter(
        kind="asked", device=HALL, remote=hostile, name=hostile, remark=hostile, first_at=NIGHT, last_at=NIGHT
    )
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, both)
        await keep(store, both)

        (kept,) = await store.encounters(since=NIGHT)

    assert kept.count == 2
    assert kept.remote.startswith("'; DROP TABLE encounter; --\n\x00?xxx")
    assert [len(text or "") for text in (kept.remote, kept.name, kept.remark)] == [
        MAX_NAME_LENGTH,
        MAX_NAME_LENGTH,
        200,
    ]


async def test_counts_stay_at_what_the_database_can_hold(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, replace(TRIED, octets_out=2**63 + 5), replace(TRIED, octets_out=2**63 + 5))

        assert [one.octets_out for one in await store.encounters(since=NIGHT)] == [2**63 - 1]


async def test_a_clock_that_was_set_back_makes_no_row_that_ends_before_it_begins(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, replace(TRIED, first_at=minutes(5), last_at=minutes(2)))

        assert [(one.first_at, one.last_at) for one in await store.encounters(since=NIGHT)] == [
            (minutes(2), minutes(2))
        ]
    assert ask(tmp_path / "house.db", "SELECT count(*) FROM encounter WHERE last_at < first_at") == [(0,)]
