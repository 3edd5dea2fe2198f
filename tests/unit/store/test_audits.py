"""A whole audit is kept at once, and the past can be asked for."""

from pathlib import Path

import pytest

from pattress.store.connection import Connection
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, device, finding, minutes, row_counts, sighting, snapshot


async def keep(store: Store, minute: float, *, port: int = 1, broken: bool = True) -> int:
    at = minutes(minute)
    run = await store.begin_run(at, "digest")
    await store.keep_audit(
        run,
        devices=[device(sighting(at=at, mac=MAC), mac=MAC)],
        readings=[snapshot({"mqtt.port": port}, at=at)],
        placed={"hall-lights": HALL},
        findings=[finding("broken" if broken else "met")],
        ended_at=minutes(minute + 1),
        counts={"broken": int(broken)},
    )
    return run


async def test_every_part_of_an_audit_is_kept(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await keep(store, 0)

        assert [known.last_read for known in await store.known_devices()] == [NIGHT]
        assert [one.run for one in await store.readings_of(HALL)] == [run]
        assert [(one.point, one.since) for one in await store.placements()] == [("hall-lights", NIGHT)]
        assert [one.opened_at for one in await store.open_findings()] == [minutes(1)]
        last = await store.last_run()
        assert last is not None
        assert (last.id, last.ended_at, last.counts, last.device_count) == (run, minutes(1), {"broken": 1}, 1)


async def test_an_audit_that_cannot_be_kept_leaves_nothing_of_it(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, "digest")
        before = row_counts(path)

        with pytest.raises(ValueError, match="no time zone"):
            await store.keep_audit(
                run,
                devices=[device(sighting(mac=MAC), mac=MAC)],
                readings=[snapshot()],
                placed={"hall-lights": HALL},
                findings=[finding()],
                ended_at=NIGHT.replace(tzinfo=None),
                counts={},
            )

        assert row_counts(path) == before
        assert await store.last_run() is None


async def test_the_last_run_is_the_last_that_came_to_its_end(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        assert await store.last_run() is None
        ended = await keep(store, 0)
        await store.begin_run(minutes(9), "digest")

        last = await store.last_run()

    assert last is not None
    assert last.id == ended


@pytest.mark.parametrize(("at", "held"), [(0.9, 0), (1, 1), (60.9, 1), (61, 0), (120.9, 0), (121, 1), (1e6, 1)])
async def test_findings_of_any_moment_can_be_asked_for(at: float, held: int, tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep(store, 0)
        await keep(store, 60, broken=False)
        await keep(store, 120)

        assert len(await store.findings_at(minutes(at))) == held


async def test_readings_after_the_end_of_a_run_do_not_count_among_its_results(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await keep(store, 0)

        await store.keep_readings(run, [snapshot({"mqtt.port": 2}, at=minutes(5))])

        last = await store.last_run()
        assert last is not None
        assert last.read_count == 1
        assert len(await store.readings_of(HALL)) == 2
        assert [span.value for span in await store.history(HALL)] == [1, 2]


async def test_audits_and_sign_offs_wait_for_the_disk_and_readings_between_do_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[bool] = []
    real = Connection.write

    async def watched(self: Connection, work: object, *, is_final: bool = False, checks_keys: bool = True) -> object:
        waited.append(is_final)
        return await real(self, work, is_final=is_final, checks_keys=checks_keys)  # type: ignore[arg-type]

    monkeypatch.setattr(Connection, "write", watched)
    async with Store.open(tmp_path / "house.db") as store:
        run = await keep(store, 0)
        await store.keep_readings(run, [snapshot(at=minutes(5))])
        await store.sign_off([])

    assert waited == [False, True, False, True]
