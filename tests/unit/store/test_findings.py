"""Findings are spans: opened once, closed once, and never kept where all is well."""

from datetime import date, datetime
from pathlib import Path

import pytest

from pattress.model.finding import Subject
from pattress.model.kept import KeptFinding
from pattress.model.rules import Waiver
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, ask, finding, minutes, row_counts


async def test_a_broken_finding_comes_back_as_it_was(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding()], NIGHT)

        assert await store.open_findings() == [
            KeptFinding(
                device=HALL,
                point="hall-lights",
                rule="power-up",
                setting="output.1.at_power_up",
                outcome="broken",
                severity="fault",
                expected='"off"',
                found='"on"',
                reason=None,
                opened_at=NIGHT,
                closed_at=None,
            )
        ]


async def test_a_met_finding_is_no_row(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        before = row_counts(path)

        await store.keep_findings(run, [finding("met", value="off")], NIGHT)

        assert row_counts(path) == before


async def test_a_finding_that_goes_on_stays_the_same_row_with_what_was_found_last(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding()], NIGHT)
        await store.keep_findings(run, [finding(value="as-before")], minutes(1))

        assert [(one.found, one.opened_at) for one in await store.open_findings()] == [('"as-before"', NIGHT)]
    assert row_counts(path)["finding"] == 1


@pytest.mark.parametrize("later", [[], [finding("met", value="off")]], ids=["gone", "met"])
async def test_a_finding_that_is_over_is_closed(later: list, tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding()], NIGHT)
        await store.keep_findings(run, later, minutes(1))

        assert await store.open_findings() == []
    assert ask(path, "SELECT closed_at, closed_run FROM finding") == [(int(minutes(1).timestamp() * 1000), run)]


@pytest.mark.parametrize(
    "later",
    [finding("unverified", value=None, remark="no answer"), finding(severity="danger"), finding(expected="on")],
    ids=["outcome", "severity", "expected"],
)
async def test_another_verdict_is_another_finding(later: object, tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding()], NIGHT)
        await store.keep_findings(run, [later], minutes(1))

        assert [one.opened_at for one in await store.open_findings()] == [minutes(1)]
    assert row_counts(path)["finding"] == 2


async def test_a_finding_that_comes_back_is_opened_anew(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")

        for minute, found in enumerate([[finding()], [], [finding()]]):
            await store.keep_findings(run, found, minutes(minute))

        assert [one.opened_at for one in await store.open_findings()] == [minutes(2)]
    assert row_counts(path)["finding"] == 2


async def test_findings_on_a_device_a_point_and_the_site_are_told_apart(tmp_path: Path) -> None:
    subjects = [Subject(), Subject(point="hall-lights"), Subject(device=HALL), Subject(device="serial:S2")]
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding(about=subject, setting=None) for subject in subjects], NIGHT)

        kept = {(one.device, one.point) for one in await store.open_findings()}
        assert kept == {(subject.device, subject.point) for subject in subjects}


async def test_the_gravest_comes_first(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        found = [finding(rule=f"r-{severity}", severity=severity) for severity in ("advice", "danger", "fault")]

        await store.keep_findings(run, found, NIGHT)

        assert [one.severity for one in await store.open_findings()] == ["danger", "fault", "advice"]


async def test_a_waived_finding_says_who_accepted_it_and_until_when(tmp_path: Path) -> None:
    waiver = Waiver(rule="power-up", reason="fed from the boiler", who="M. Quill", until=date(2026, 9, 1))
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_findings(run, [finding("waived")._replace(waiver=waiver)], NIGHT)

        (kept,) = await store.open_findings()
        assert (kept.outcome, kept.reason) == ("waived", "fed from the boiler (M. Quill, until 2026-09-01)")


async def test_a_clock_that_steps_back_closes_no_finding_before_it_opened(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_findings(run, [finding()], NIGHT)

        await store.keep_findings(run, [], minutes(-60))

        assert await store.open_findings() == []
    assert ask(path, "SELECT count(*) FROM finding WHERE closed_at = opened_at") == [(1,)]


async def test_a_time_without_a_zone_is_refused(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        with pytest.raises(ValueError, match="no time zone"):
            await store.keep_findings(run, [finding()], datetime(2026, 3, 1))

        assert await store.open_findings() == []
