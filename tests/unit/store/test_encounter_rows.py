"""How many rows of encounters there may be, and what joining them gives."""

from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from pattress.store.encounter_rows import (
    HOUR_MS,
    MAX_ROWS_PER_DAY,
    MAX_ROWS_PER_HOUR,
    EncounterRow,
    day_of,
    joined,
)
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, minutes, row_counts
from unit.store.watched import TRIED, keep, names, tried

REST = 1000

rows_of_a_day = st.lists(
    st.builds(
        lambda hour, kind, remote, minute, length, name, source: EncounterRow(
            device=1,
            hour=hour,
            kind=kind,
            remote=remote,
            protocol=-1 if remote == REST else 6,
            port=-1,
            is_day=False,
            first_at=hour * HOUR_MS + minute * 60_000 - length,
            last_at=hour * HOUR_MS + minute * 60_000,
            name=name,
            packets_out=1,
            octets_out=100,
            packets_in=0,
            octets_in=0,
            count=1,
            sources=(source,),
            remark=None,
        ),
        st.integers(0, 23),
        st.integers(0, 1),
        st.integers(1, 200) | st.just(REST),
        st.integers(0, 59),
        st.integers(0, HOUR_MS),
        st.none() | st.integers(1, 3),
        st.sampled_from(["router-flows", "resolver"]),
    ),
    max_size=300,
)


@given(rows_of_a_day)
def test_a_day_has_as_much_as_its_hours_in_bounded_rows(rows: list[EncounterRow]) -> None:
    day = day_of(rows, REST)

    for kind in (0, 1):
        assert sum(row.kind == kind and row.remote != REST for row in day) <= MAX_ROWS_PER_HOUR
        assert sum(row.octets_out for row in day if row.kind == kind) == 100 * sum(row.kind == kind for row in rows)
    assert {row.key for row in day} == {(1, 0, row.kind, row.remote, row.protocol, -1) for row in day}
    assert sum(row.count for row in day) == len(rows)
    assert min((row.first_at for row in day), default=0) == min((row.first_at for row in rows), default=0)


@given(rows_of_a_day)
def test_a_day_that_is_added_up_again_stays_as_it_is(rows: list[EncounterRow]) -> None:
    day = day_of(rows, REST)

    assert day_of(day, REST) == day


@given(rows_of_a_day.filter(lambda rows: len(rows) >= 2))
def test_it_does_not_matter_which_of_two_rows_came_first(rows: list[EncounterRow]) -> None:
    one, other = rows[0], replace(rows[1], hour=rows[0].hour, kind=rows[0].kind, remote=5, protocol=6)
    one = replace(one, remote=5, protocol=6, last_at=other.last_at + 1)

    assert joined(one, other) == joined(other, one)


async def test_what_is_too_much_for_an_hour_is_counted_together(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, *names(MAX_ROWS_PER_HOUR + 10), tried())
        await keep(store, *names(5, first=20_000), *names(1))

        kept = await store.encounters(since=NIGHT)

    assert sum(one.kind == "asked" and one.remote != "*" for one in kept) == MAX_ROWS_PER_HOUR
    (rest,) = [one for one in kept if one.remote == "*"]
    assert (rest.kind, rest.count, rest.device) == ("asked", 15, HALL)
    assert next(one.count for one in kept if one.remote == "n00000.example") == 2
    assert TRIED.remote in {one.remote for one in kept}, "one kind takes no room from another"


async def test_the_rest_says_neither_port_nor_name(tmp_path: Path) -> None:
    flood = [replace(tried(remote=f"2001:db8::{number:x}"), name=f"n{number}.example") for number in range(100)]
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, *flood)

        (rest,) = [one for one in await store.encounters(since=NIGHT) if one.remote == "*"]

    assert rest == replace(TRIED, remote="*", protocol=None, port=None, count=36, packets_out=72, octets_out=120 * 36)


async def test_a_device_that_calls_everything_all_day_is_bounded(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        for hour in range(24):
            at = minutes(60 * hour - 150)
            await keep(store, *names(100, at=at, first=100 * hour))

        kept = await store.encounters(since=minutes(-150))

    assert sum(one.count for one in kept) == 2400
    assert sum(one.remote != "*" for one in kept) == MAX_ROWS_PER_DAY
    assert row_counts(tmp_path / "house.db")["encounter"] == MAX_ROWS_PER_DAY + 24
