"""What an audit keeps, and what it says where the store cannot do all of its work."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.audit.run import run_audit
from pattress.model.addresses import IPNetwork
from pattress.model.errors import StoreError
from pattress.model.plan import Plan, Point
from pattress.model.rules import Policy
from pattress.model.site import Limits, Networks, Site
from pattress.store.store import Store

NIGHT = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)


def empty_site(folder: Path) -> Site:
    """A site that listens on nothing, with one point at which nothing is."""
    networks: tuple[IPNetwork, ...] = ()
    return Site(
        name="Larkspur Mill",
        folder=folder,
        networks=Networks(devices=networks, inside=networks),
        plan=Plan(points=(Point(name="hall-lights", room="Hall", kind="tidewire-r1", mac="02:00:5e:00:53:01"),)),
        policy=Policy(id="house", title="House", rules=(), digest="0" * 64),
        profiles=(),
        limits=Limits(listen_s=0.05),
        uses_mdns=False,
    )


async def test_what_could_not_be_thinned_is_said_beside_a_result_that_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def refuse(self: Store, now: datetime) -> int:
        raise StoreError("the disk is full", where="pattress.db", next_step="Free some space")

    monkeypatch.setattr(Store, "thin", refuse)
    async with Store.open(tmp_path / "pattress.db") as store:
        audit = await run_audit(empty_site(tmp_path), store, clock=lambda: NIGHT)

        last = await store.last_run()
    (report,) = [one for one in audit.sources if one.source == "store"]
    assert (report.state, "the disk is full" in report.detail) == ("failed", True)
    assert last is not None
    assert (last.id, last.counts) == (audit.run, audit.counts)


async def test_an_audit_thins_what_has_aged_by_its_own_clock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    thinned_at = []
    real = Store.thin

    async def watched(self: Store, now: datetime) -> int:
        thinned_at.append(now)
        return await real(self, now)

    monkeypatch.setattr(Store, "thin", watched)
    async with Store.open(tmp_path / "pattress.db") as store:
        audit = await run_audit(empty_site(tmp_path), store, clock=lambda: NIGHT)

    assert thinned_at == [NIGHT]
    assert "store" not in {one.source for one in audit.sources}


async def test_an_audit_whose_result_cannot_be_kept_leaves_nothing_of_it_and_is_still_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*words: object) -> None:
        raise StoreError("the disk is full", where="pattress.db", next_step="Free some space")

    monkeypatch.setattr("pattress.store.audits.end_run", fail)
    async with Store.open(tmp_path / "pattress.db") as store:
        audit = await run_audit(empty_site(tmp_path), store, clock=lambda: NIGHT)

        assert await store.open_findings() == []
        assert await store.last_run() is None
    assert audit.unkept is not None
    assert [one.detail for one in audit.sources if one.source == "store"] == [
        "this audit is not kept: the disk is full"
    ]
    assert sum(audit.counts.values()) > 0
