"""The main job, end to end: an audit of the emulated house finds what is planted there, and nothing else."""

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.audit.run import Audit, run_audit
from pattress.cli.emulated import watched
from pattress.egress.whereabouts import Owner
from pattress.lab.circuits import larkspur_wiring
from pattress.lab.expected import Expected
from pattress.lab.faults import ALL_FAULTS, DEMO_FAULTS
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site
from pattress.model.encounter import Alert
from pattress.model.site import Site
from pattress.policy.builtin import BUILTIN_RULES
from pattress.site.load import load_site
from pattress.store.store import Store

SETS = {
    "none": (),
    "demo": DEMO_FAULTS,
    "claimants": ("two-claimants", "absent", "broker-off", "lost-to-the-broker", "rubbish", "port-as-text"),
    "settings": (
        *("broker-anonymous", "switch-misjudged", "heat-limit-high", "no-password", "setup-ap-open"),
        *("time-outside", "limit-as-text", "another-kind", "broker-off", "stranger"),
    ),
    "ways out": (
        *("cloud-still-connected", "debug-open", "broker-lost", "broker-sealed", "address-elsewhere"),
        *("address-by-hand", "gateway-outside", "resolver-outside", "guests-network", "updates-by-itself"),
        *("clock-an-hour-off", "zone-unset"),
    ),
    "circuits": (
        *("input-inverted", "stays-on", "overload-unguarded", "power-limit-high", "current-limit-high"),
        *("dims-too-low", "dims-on-the-wrong-edge", "supply-low", "shutter-unlearnt", "shutter-runs-on"),
        *("shutter-pushes-on", "voltage-high", "hot-inside", "restarts-often", "memory-short"),
    ),
}

WAY_OUT = ("stays-inside", "asks-nothing-outside", "watch-heard")


def now() -> datetime:
    return datetime.now(UTC)


def load(folder: Path) -> Site:
    builtin = {rule.id: rule.severity for rule in BUILTIN_RULES}
    return load_site(folder, today=now().date(), builtin_rules=builtin)


def not_met(audit: Audit) -> set[Expected]:
    return {
        Expected(finding.subject.title, finding.rule.id, finding.setting, finding.outcome)
        for finding in audit.findings
        if finding.outcome != "met"
    }


class Silent:
    """Tells nobody, and keeps what was to be told at once."""

    def __init__(self) -> None:
        self.alerts: list[tuple[str | None, str]] = []

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        self.alerts.append((owner.point, alert.told.kind))

    def daily(self, due: object) -> None:
        pass

    def note(self, text: str) -> None:
        raise AssertionError(text)


async def audit_of(house: EmulatedHouse, folder: Path, *, listen_s: float = 2.0, teller: Silent | None = None) -> Audit:
    site = load(write_site(house, folder, today=now().date(), is_watched=True))
    async with (
        Store.open(folder / site.store_file) as store,
        watched(house, site, store, teller or Silent(), now),
    ):
        return await run_audit(site, store, clock=now, listen_s=listen_s)


@pytest.mark.parametrize("faults", SETS.values(), ids=SETS)
async def test_an_audit_finds_all_that_is_planted_and_nothing_else(faults: Iterable[str], tmp_path: Path) -> None:
    async with EmulatedHouse(faults=faults, delay_s=(0.0, 0.02), wait_s=60, wiring=larkspur_wiring()) as house:
        audit = await audit_of(house, tmp_path)

        assert not_met(audit) == house.expected
    assert audit.counts["met"] > 300


def test_every_fault_of_the_house_is_planted_in_one_of_the_audits() -> None:
    planted = {name for faults in SETS.values() for name in faults}

    assert planted == {fault.name for fault in ALL_FAULTS}


async def test_a_fault_that_is_mended_is_met_the_next_night_and_stays_in_the_history(tmp_path: Path) -> None:
    async with EmulatedHouse(faults=["cloud-left-on"], delay_s=(0.0, 0.02), wait_s=60) as house:
        first = await audit_of(house, tmp_path)
        await house.switch("cloud-left-on", False)
        second = await audit_of(house, tmp_path)

    assert first.counts["broken"] == 1
    assert second.counts["broken"] == 0
    assert (first.run, second.run) == (1, 2)
    device = next(finding.subject.device for finding in first.findings if finding.outcome == "broken")
    async with Store.open(tmp_path / "pattress.db", read_only=True) as store:
        spans = await store.history(device or "", "cloud.enabled")
    assert [(span.value, span.until is None) for span in spans] == [(True, False), (False, True)]


async def test_what_goes_out_is_told_as_it_happens_and_stands_in_the_audit(tmp_path: Path) -> None:
    teller = Silent()
    async with EmulatedHouse(faults=["calls-home-in-vain", "filter-has-a-hole"], delay_s=(0, 0.02), wait_s=60) as house:
        audit = await audit_of(house, tmp_path, teller=teller)

    assert sorted(teller.alerts) == [("library-lights", "reached"), ("stair-strip", "tried")]
    said = {finding.rule.id: finding.remark or "" for finding in audit.findings if finding.outcome == "broken"}
    assert said["stays-inside"].startswith("it reached 203.0.113.88 on TCP port 8883")
    assert said["asks-nothing-outside"].startswith("it tried to reach 203.0.113.88 on TCP port 8883")
    heard = [finding for finding in audit.findings if finding.rule.id == "watch-heard"]
    assert [(finding.subject.title, finding.outcome) for finding in heard] == [("router", "met")]


async def test_without_a_record_of_the_day_nothing_is_said_to_have_stayed_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def nothing(*_: object) -> None:
        """There was nobody to hear anything."""

    monkeypatch.setattr("pattress.cli.emulated.keep_day_before", nothing)
    async with EmulatedHouse(faults=[], delay_s=(0, 0.02), wait_s=60) as house:
        audit = await audit_of(house, tmp_path)

    outcomes = {(finding.rule.id, finding.outcome) for finding in audit.findings if finding.rule.id in WAY_OUT}
    assert outcomes == {(rule, "unverified") for rule in WAY_OUT}


async def test_known_devices_are_read_although_discovery_hears_nothing_of_them(tmp_path: Path) -> None:
    """An audit right after another one: what was kept is read at its old address while discovery still listens."""
    async with EmulatedHouse(faults=[], delay_s=(0.0, 0.02), wait_s=60) as house:
        await audit_of(house, tmp_path)
        again = await audit_of(house, tmp_path, listen_s=0.1)

    unread = [point for point in house.modules if not _is_read(again, point)]
    assert unread == []


def _is_read(audit: Audit, point: str) -> bool:
    return any(
        finding.rule.id == "device-answers" and finding.outcome == "met" and finding.subject.point == point
        for finding in audit.findings
    )
