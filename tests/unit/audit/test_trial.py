"""A policy tried on what was kept."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from pattress.audit.trial import Trial, try_policy
from pattress.model.device import Device, Sighting
from pattress.model.errors import UsageError
from pattress.model.plan import Point
from pattress.model.reading import Reading, Unreadable
from pattress.model.rules import Rule, Waiver
from pattress.store.store import Store
from unit.policy.examples import KITCHEN, MAC, NOON, need, policy, rule, site, snapshot

DEVICE = f"mac:{MAC}"
LATER = NOON + timedelta(days=1)
CLOUD = rule("cloud-off", need("cloud.enabled", "equal", False))
SIGNAL = rule("signal", need("net.rssi_dbm", "at_least", -70))
OTHER = Point(name="attic", room="Attic", kind="twin", mac="00:00:5e:00:53:09")


async def keep(folder: Path, *readings: Reading) -> Path:
    """Keep one run for each reading."""
    seen = Sighting(source="mdns", seen_at=NOON, name="Twin 1", address="192.0.2.7", mac=MAC, kind="twin")
    device = Device(id=DEVICE, mac=MAC, serial=None, name="Twin 1", kind="twin", addresses=(), sightings=(seen,))
    file = folder / "pattress.db"
    async with Store.open(file) as store:
        for reading in readings:
            run = await store.begin_run(reading.taken_at, "0" * 64)
            await store.keep_devices(run, [device])
            await store.keep_readings(run, [reading])
            await store.end_run(run, reading.taken_at, {})
    return file


def at(moment: Any, values: Mapping[str, Any]) -> Reading:
    return replace(snapshot(dict(values)), taken_at=moment)


async def tried(file: Path, *rules: Rule, points: tuple[Point, ...] = (KITCHEN,), **more: Any) -> Trial:
    return await try_policy(site(*points, **more), policy(*rules), file, now=LATER)


def told(trial: Trial) -> list[tuple[str | None, str | None, str, Any]]:
    return [(one.subject.point, one.setting, one.outcome, one.value) for one in trial.findings]


async def test_the_last_known_settings_and_numbers_are_judged(tmp_path: Path) -> None:
    file = await keep(
        tmp_path,
        at(NOON, {"mac": MAC, "cloud.enabled": True, "net.rssi_dbm": -80.0}),
        at(LATER, {"mac": MAC, "cloud.enabled": False, "net.rssi_dbm": -75.0}),
    )

    trial = await tried(file, CLOUD, SIGNAL)

    assert told(trial) == [
        ("kitchen-lamps", "cloud.enabled", "met", False),
        ("kitchen-lamps", "net.rssi_dbm", "broken", -75.0),
    ]
    assert trial.read_at == {"kitchen-lamps": LATER}
    assert trial.counts == {"broken": 1, "unverified": 0, "waived": 0, "met": 1}


async def test_what_could_not_be_read_last_time_is_judged_by_the_time_before(tmp_path: Path) -> None:
    silence = Unreadable(device=DEVICE, kind="twin", taken_at=LATER, reason="no answer")
    file = await keep(tmp_path, at(NOON, {"mac": MAC, "cloud.enabled": True, "net.rssi_dbm": -60.0}), silence)

    trial = await tried(file, CLOUD, SIGNAL)

    assert [(one.outcome, one.value) for one in trial.findings] == [("broken", True), ("met", -60.0)]
    assert trial.read_at == {"kitchen-lamps": NOON}


async def test_a_setting_that_is_no_longer_reported_is_not_judged_by_what_it_was(tmp_path: Path) -> None:
    file = await keep(tmp_path, at(NOON, {"mac": MAC, "cloud.enabled": False}), at(LATER, {"mac": MAC}))

    assert told(await tried(file, CLOUD)) == [("kitchen-lamps", "cloud.enabled", "unverified", None)]


async def test_a_point_of_which_nothing_is_kept_and_a_device_never_read_are_unverified(tmp_path: Path) -> None:
    silence = Unreadable(device=DEVICE, kind="twin", taken_at=NOON, reason="no answer")
    file = await keep(tmp_path, silence)

    trial = await tried(file, CLOUD, points=(KITCHEN, OTHER))

    assert [(one.subject.point, one.outcome, one.reason) for one in trial.findings] == [
        ("kitchen-lamps", "unverified", "it was never read"),
        ("attic", "unverified", "nothing of it is kept"),
    ]
    assert trial.read_at == {"kitchen-lamps": None, "attic": None}


async def test_waivers_hold_and_are_not_themselves_judged(tmp_path: Path) -> None:
    file = await keep(tmp_path, at(NOON, {"mac": MAC, "cloud.enabled": True}))
    until = date(2027, 1, 1)
    waivers = (
        Waiver(rule="cloud-off", reason="r", who="w", until=until, point="kitchen-lamps"),
        Waiver(rule="something-else", reason="r", who="w", until=until, point="kitchen-lamps"),
    )

    trial = await tried(file, CLOUD, waivers=waivers)

    assert told(trial) == [("kitchen-lamps", "cloud.enabled", "waived", True)]


async def test_a_trial_changes_nothing_that_is_kept(tmp_path: Path) -> None:
    file = await keep(tmp_path, at(NOON, {"mac": MAC, "cloud.enabled": True}))
    async with Store.open(file, read_only=True) as store:
        before = (await store.runs(), await store.known_devices(), await store.history(DEVICE))

    await tried(file, CLOUD)

    async with Store.open(file, read_only=True) as store:
        assert (await store.runs(), await store.known_devices(), await store.history(DEVICE)) == before


async def test_without_a_database_there_is_nothing_to_try_on(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="there is no database yet"):
        await tried(tmp_path / "pattress.db", CLOUD)
