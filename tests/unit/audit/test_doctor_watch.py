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


def hearing(hours_ago: int = 0, heard: int = 40) -> Hearing:
    return Hearing(source="router", hour=HOUR - timedelta(hours=hours_ago), listened_s=1800.0, heard=heard)


async def test_a_watch_that_runs_and_hears_is_met(tmp_path: Path) -> None:
    found = await outcomes(tmp_path, hearing())

    assert found["watch"] == ("met", "it has listened within this hour")
    assert found["watch-router"] == ("met", "40 records or lines within 1 h, 0 lost")
    assert found["numpy"][0] == "met"


async def test_silence_and_nobody_listening_are_told_apart(tmp_path: Path) -> None:
    silent = await outcomes(tmp_path, hearing(heard=0))
    (tmp_path / "later").mkdir()
    stopped = await outcomes(tmp_path / "later", hearing(3))

    assert (silent["watch"][0], silent["watch-router"]) == ("met", ("broken", "nothing came within 1 h"))
    assert (stopped["watch"][0], stopped["watch-router"][0]) == ("broken", "broken")


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
