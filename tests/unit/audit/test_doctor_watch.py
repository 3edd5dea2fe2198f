"""What the doctor sees of the watching of the way to the outside."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pattress.audit import doctor_watch
from pattress.audit.doctor_watch import examine_watching
from pattress.model.encounter import Hearing
from pattress.model.site import Site
from pattress.model.watching import Watching, WatchSource
from pattress.store.store import Store
from unit.audit.test_run import empty_site

NOW = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)
HOUR = NOW.replace(minute=0)
FLOWS = WatchSource(name="router", kind="flows")


def site(folder: Path, *sources: WatchSource) -> Site:
    return replace(empty_site(folder), watching=Watching(sources=sources))


async def outcomes(folder: Path, *hearings: Hearing, source: WatchSource = FLOWS) -> dict[str, tuple[str, str]]:
    path = folder / "pattress.db"
    async with Store.open(path) as store:
        await store.keep_encounters([], hearings, [])
    return {one.name: (one.outcome, one.found) for one in await examine_watching(site(folder, source), path, NOW)}


def hearing(minutes_ago: int = 1, heard: int = 40, silent_minutes: int = 2) -> Hearing:
    """What was kept of half an hour that ended so long before now, and in which something came until so long before."""
    until = NOW - timedelta(minutes=minutes_ago)
    return Hearing(
        source="router", hour=until.replace(minute=0), listened_s=1800.0, listened_from=until - timedelta(minutes=30),
        listened_until=until, heard_at=NOW - timedelta(minutes=silent_minutes) if heard else None, heard=heard,
    )  # fmt: skip


async def test_a_watch_that_runs_and_hears_is_met(tmp_path: Path) -> None:
    found = await outcomes(tmp_path, hearing())

    assert found["watch"] == ("met", "somebody listens")
    assert found["watch-router"] == ("met", "40 records or lines within 1 h, 0 lost")
    assert found["numpy"][0] == "met"


async def test_silence_and_nobody_listening_are_told_apart(tmp_path: Path) -> None:
    silent = await outcomes(tmp_path, hearing(heard=0))

    assert (silent["watch"][0], silent["watch-router"]) == ("met", ("broken", "nothing came within 1 h"))


@pytest.mark.parametrize("minutes_ago", [10, 29, 40])
async def test_a_watch_that_ended_does_not_count_though_it_was_in_this_hour(tmp_path: Path, minutes_ago: int) -> None:
    found = await outcomes(tmp_path, hearing(minutes_ago, silent_minutes=minutes_ago))

    ended = (NOW - timedelta(minutes=minutes_ago)).astimezone()
    assert found["watch"] == ("broken", f"nobody has listened since {ended:%Y-%m-%d %H:%M}")


async def test_a_watch_that_ended_long_ago_is_as_none(tmp_path: Path) -> None:
    assert (await outcomes(tmp_path, hearing(180)))["watch"] == ("broken", "nobody has listened of late")


async def test_a_source_that_has_been_silent_for_long_is_not_heard_though_others_are(tmp_path: Path) -> None:
    earlier = replace(hearing(31, silent_minutes=61), hour=HOUR - timedelta(hours=1))

    found = await outcomes(tmp_path, earlier, hearing(heard=0))

    assert (found["watch"][0], found["watch-router"]) == ("met", ("broken", "nothing came within 1 h"))


async def test_without_a_database_nothing_is_known(tmp_path: Path) -> None:
    [*_, last] = await examine_watching(site(tmp_path, FLOWS), tmp_path / "none.db", NOW)

    assert (last.name, last.outcome) == ("watch", "unverified")


async def test_a_site_that_watches_nothing_has_nothing_to_be_told(tmp_path: Path) -> None:
    assert await examine_watching(site(tmp_path), tmp_path / "none.db", NOW) == []


@pytest.mark.parametrize(("text", "outcome"), [("0\n", "unverified"), ("1\n", "met")])
async def test_a_connection_table_that_counts_nothing_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, outcome: str
) -> None:
    (tmp_path / "acct").write_text(text, encoding="ascii")
    monkeypatch.setattr(doctor_watch, "ACCOUNTING", tmp_path / "acct")

    found = await outcomes(tmp_path, source=WatchSource(name="router", kind="connections"))

    assert found["connection-counts"][0] == outcome


@pytest.mark.parametrize(("text", "outcome"), [("212992\n", "unverified"), ("8388608\n", "met")])
async def test_a_small_receive_buffer_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, outcome: str
) -> None:
    (tmp_path / "rmem").write_text(text, encoding="ascii")
    monkeypatch.setattr(doctor_watch, "RMEM_MAX", tmp_path / "rmem")

    assert (await outcomes(tmp_path))["receive-buffer"][0] == outcome
