"""What there is to keep in audit number k, as pure functions of k; and whether a database has it. No tests here.

The process that keeps and the one that verifies share nothing but these, and what the first has said.
"""

import asyncio
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from pattress.model.closein import Sample, StepResult
from pattress.model.device import Device, Sighting
from pattress.model.encounter import Encounter, Hearing, Told
from pattress.model.finding import Finding, Subject
from pattress.model.kept import KeptRun, Retention, SignOff
from pattress.model.reading import Reading, Reported, Snapshot, Unreadable
from pattress.model.rules import Rule
from pattress.model.vocabulary import Value
from pattress.store.close_ins import damaged_close_ins
from pattress.store.days import damaged_days
from pattress.store.examine import problems_of
from pattress.store.sign_offs import all_sign_offs
from pattress.store.store import Store

START = datetime(2026, 1, 1, tzinfo=UTC)
STEP = timedelta(minutes=30)
DEVICES = 6
KEPT_EVERY = 300  # audits; the readings of older ones may have been thinned
RETENTION = Retention(every_days=10, hourly_days=12, daily_days=14)
RULE = Rule(id="port", title="Port", severity="fault", because="It is.", fix="Set it.")


def at(k: int) -> datetime:
    return START + k * STEP


def ended_at(k: int) -> datetime:
    return at(k) + timedelta(seconds=20)


def identity(number: int) -> str:
    return f"mac:02:00:5e:00:53:{number:02x}"


def is_read(k: int, number: int) -> bool:
    return (7 * k + number) % 11 != 0


def values(k: int, number: int) -> dict[str, Value]:
    return {
        "mqtt.port": 1000 + (k // 3 + number) % 50,
        "mqtt.tls": (k // 40 + number) % 2 == 0,
        "output.1.on": (k + number) % 2 == 0,
        "health.restarts": k,
        "meter.1.power_w": k / 8,
    }


def devices(k: int) -> list[Device]:
    return [_device(number, at(k)) for number in range(DEVICES)]


def reading(k: int, number: int, taken_at: datetime) -> Reading:
    if not is_read(k, number):
        return Unreadable(device=identity(number), kind=None, taken_at=taken_at, reason=f"no answer to question {k}")
    reported = {name: Reported(value=value, origin="GET /facts") for name, value in values(k, number).items()}
    return Snapshot(device=identity(number), kind="tidewire-r1", taken_at=taken_at, duration_s=0.1, values=reported)


def readings(k: int) -> list[Reading]:
    return [reading(k, number, at(k)) for number in range(DEVICES)]


def readings_between(k: int) -> list[Reading]:
    """What is read after the end of an audit, until the next one."""
    return [reading(k, number, at(k) + timedelta(minutes=5)) for number in range(DEVICES)]


def broken(k: int) -> frozenset[str]:
    return frozenset(identity(number) for number in range(DEVICES) if (k // 5 + number) % 4 == 0)


def findings(k: int) -> list[Finding]:
    return [
        Finding(RULE, Subject(device=identity(number)), "mqtt.port", outcome, "1883", value=k)
        for number in range(DEVICES)
        for outcome in (("broken",) if identity(number) in broken(k) else ("met",))
    ]


def placed(k: int) -> dict[str, str]:
    return {f"point-{number}": identity((number + k // 20) % DEVICES) for number in range(DEVICES)}


def sign_off(k: int) -> SignOff:
    number = k % DEVICES
    return SignOff(
        device=identity(number), point=f"point-{number}", at=at(k), who="Wren Okafor", why=str(k),
        values=values(k, number),
    )  # fmt: skip


def step(k: int) -> StepResult:
    """A step of the check that audit k found open or began: tried once more each time."""
    return StepResult(
        step="heat", title="Heat", outcome="met", sentence=str(k), began_at=at(k), ended_at=ended_at(k),
        facts={"settles_c": k / 8}, samples=tuple(samples(k, 4)),
    )  # fmt: skip


def samples(k: int, count: int) -> list[Sample]:
    return [
        Sample(at=at(k) + timedelta(seconds=number), name="health.temperature_c", value=k + number / 8)
        for number in range(count)
    ]


def encounters(k: int) -> list[Encounter]:
    """What was tried while audit k went on; a flood now and then."""
    count = 300 if k % 25 == 0 else 3
    return [
        Encounter(
            kind="tried", device=identity(k % DEVICES), remote=f"2001:db8:{k:x}::{number:x}", first_at=at(k),
            last_at=at(k), protocol=17, port=123, packets_out=1, octets_out=76, sources=("router-flows",),
        )
        for number in range(count)
    ]  # fmt: skip


def hearing(k: int) -> Hearing:
    return Hearing(source="router-flows", hour=at(k), listened_s=1800.0, heard=k)


def told(k: int) -> Told:
    """What was told of a device for the k-th time: the newest is kept."""
    return Told(
        device=identity(0), kind="tried", place="2001:db8::/32", first_at=at(0), last_at=at(k), count=k, told_at=at(k),
        told_count=k,
    )  # fmt: skip


def faults(path: Path, acknowledged: Iterable[str], *, read_only: bool = False) -> list[str]:
    """Return what of the acknowledged is not in a database, and what is in it by half."""
    return asyncio.run(_faults(path, sorted(acknowledged), read_only))


async def _faults(path: Path, acknowledged: list[str], read_only: bool) -> list[str]:
    async with Store.open(path, read_only=read_only) as store:
        found = await store._connection.read(
            lambda database: [*problems_of(database), *damaged_days(database), *damaged_close_ins(database)]
        )
        kept = {int(run.policy_digest): run for run in await store.runs(limit=1_000_000)}
        found += await store._connection.read(lambda database: list(_halves(database)))
        signed = {one.why: one for one in await store._connection.read(all_sign_offs)}
        steps = await _steps(store)
        newest = max(kept, default=0)
        for word, number in (one.split() for one in acknowledged):
            k = int(number)
            if word == "audit":
                found += await _audit_faults(store, k, kept, newest)
            elif word == "readings" and k > newest - KEPT_EVERY:
                found += await _reading_faults(store, k, at(k) + timedelta(minutes=5))
            elif word == "encounters" and k > newest - KEPT_EVERY:
                found += await _encounter_faults(store, k)
            elif word == "step" and steps.get(k) != step(k):
                found.append(f"step {k} is not there as it was acknowledged: {steps.get(k)}")
            elif word == "samples" and await store.samples_of(await _check_of(store, k), "radio") != samples(k, 3):
                found.append(f"the samples of audit {k} are not there as they were acknowledged")
            elif word == "sign-off" and signed.get(str(k)) != sign_off(k):
                found.append(f"sign-off {k} is not there as it was acknowledged")
        return found


async def _audit_faults(store: Store, k: int, kept: Mapping[int, KeptRun], newest: int) -> list[str]:
    run = kept.get(k)
    if run is None or run.ended_at != ended_at(k) or dict(run.counts) != {"met": k}:
        return [f"audit {k} has not ended as it was acknowledged: {run}"]
    found = await _reading_faults(store, k, at(k)) if k > newest - KEPT_EVERY else []
    held = {one.device for one in await store.findings_at(ended_at(k))}
    if held != broken(k):
        found.append(f"the findings of audit {k} are {held}")
    standing = {
        one.point: one.device
        for one in await store.placements()
        if one.since <= at(k) and (one.until is None or at(k) < one.until)
    }
    if standing != placed(k):
        found.append(f"the placements of audit {k} are {standing}")
    for number in range(DEVICES):
        spans = await store.history(identity(number), "mqtt.port", at=at(k))
        if is_read(k, number) and [one.value for one in spans] != [values(k, number)["mqtt.port"]]:
            found.append(f"the port of device {number} in audit {k} is {spans}")
    return found


async def _reading_faults(store: Store, k: int, taken_at: datetime) -> list[str]:
    found = []
    for number in range(DEVICES):
        name = "health.restarts"
        kept = await store.measurements(identity(number), name, taken_at, taken_at + timedelta(seconds=1))
        if [one.value for one in kept] != ([k] if is_read(k, number) else []):
            found.append(f"the reading {k} of device {number} at {taken_at} is {kept}")
    return found


async def _steps(store: Store) -> dict[int, StepResult]:
    """Every step that is kept, with its samples and without its number, which depends on what was killed."""
    found = {}
    for check in await store.close_ins():
        for one in await store.tries_of(check.id, "heat"):
            read = await store.samples_of(check.id, "heat", one.number)
            found[int(one.sentence)] = replace(one, samples=tuple(read), number=1)
    return found


async def _check_of(store: Store, k: int) -> int:
    (number,) = [one.id for one in await store.close_ins(f"point-of-{k}")]
    return number


async def _encounter_faults(store: Store, k: int) -> list[str]:
    """Nothing of what came is missing from the counts, whether it has a row of its own or not."""
    kept = await store.encounters(since=at(k), until=at(k) + timedelta(milliseconds=1), device=identity(k % DEVICES))
    found = []
    has_its_own = any(one.remote.startswith(f"2001:db8:{k:x}::") for one in kept)
    if sum(one.count for one in kept) < len(encounters(k)) or not has_its_own:
        found.append(f"the encounters of audit {k} are {len(kept)}")
    if k not in {one.heard for one in await store.hearings(at(k), at(k) + timedelta(seconds=1))}:
        found.append(f"how audit {k} heard the source is not kept")
    if max((one.count for one in await store.told()), default=0) < k:
        found.append(f"what was told in audit {k} is not kept")
    return found


def _halves(database: Database) -> Iterable[str]:
    """Yield which runs that did not end left anything behind."""
    for table, column in (("reading", "run"), ("finding", "opened_run"), ("finding", "closed_run")):
        rows = database.execute(
            f'SELECT DISTINCT "{column}" FROM "{table}" JOIN run ON run.key = "{column}" WHERE ended_at IS NULL'
        ).fetchall()
        yield from (f"run {run} did not end, and there is a {table} of it" for (run,) in rows)


def _device(number: int, seen_at: datetime) -> Device:
    mac = identity(number).removeprefix("mac:")
    sighting = Sighting(
        source="mdns", seen_at=seen_at, name=f"Quill-{number}", address=f"192.0.2.{number + 1}", mac=mac
    )
    return Device(
        id=identity(number), mac=mac, serial=None, name=f"Quill-{number}", kind=None,
        addresses=((f"192.0.2.{number + 1}", 80),), sightings=(sighting,),
    )  # fmt: skip
