"""One audit's judging, keeping and reporting at 100, 1,000 and 10,000 devices: time, peak memory, size of the database.

Each size runs in a process of its own, so that its memory is its own. What is left out is the network: reading is
measured by `reading_many`.
"""

import asyncio
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from benchmarks.documents import KIND, SETTING_COUNT, mac_of, profile
from benchmarks.emulated import ROOT
from benchmarks.house import HOUSE_NETWORKS, PLANNED, reported_by, seen_device
from benchmarks.measured import Benchmark, Measured, Size, shown
from pattress.identity import Merged
from pattress.model.device import Device
from pattress.model.plan import Plan, Point
from pattress.model.reading import Reading, Reported, Snapshot
from pattress.model.site import Site
from pattress.model.vocabulary import Value
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.report.formats import AuditResult, written
from pattress.report.text import Heading, Style, audit_text
from pattress.site.load import load_policy
from pattress.store.store import Store

FIRST = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)
BROKEN_SHARE = 0.05  # of devices that have one broken setting
CHANGED_SHARE = 1 / 60  # of devices, of which a setting changes until the next night
MEBIBYTE = 1 << 20
STEPS = ("judge", "keep the first audit", "keep the next one", "report as text", "report as JSON")


def measure(size: Size) -> Benchmark:
    """Measure each size in a process of its own; per device, so that the sizes can be compared."""
    counts = (100, 1_000, 10_000) if not size.is_tiny else (5, 10)
    costs = {count: _costs(count) for count in counts}
    smallest = counts[0]
    figures = []
    for count in counts:
        cost, least = costs[count], costs[smallest]
        for step in STEPS:
            figures.append(
                Measured(
                    what=f"{count:,} devices: {step}", unit="ms", ours=cost[step] * 1_000,
                    reference=None if count == smallest else least[step] * 1_000 * count / smallest,
                    beside=f"{count // smallest} times as long as {smallest}",
                )
            )  # fmt: skip
        figures += [
            Measured(what=f"{count:,} devices: peak memory", unit="MiB", ours=cost["peak_bytes"] / MEBIBYTE),
            Measured(what=f"{count:,} devices: with JSON", unit="MiB", ours=cost["json_peak_bytes"] / MEBIBYTE),
            Measured(what=f"{count:,} devices: that JSON", unit="MB", ours=cost["document_bytes"] / 1e6),
            Measured(what=f"{count:,} devices: database after two audits", unit="MB", ours=cost["file_bytes"] / 1e6),
        ]
    checks = costs[smallest]["findings"] / smallest
    return Benchmark(
        title=f"scale: an audit of devices with {SETTING_COUNT} settings each and {checks:.0f} findings a device",
        figures=figures,
        notes=["the network is left out; memory is that of the whole process, with the readings in it"],
    )


def _costs(count: int) -> dict[str, float]:
    command = [sys.executable, "-m", "benchmarks.scale", str(count)]
    ended = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
    costs: dict[str, float] = json.loads(ended.stdout)
    return costs


class _Clock:
    """How long each step took."""

    def __init__(self) -> None:
        self.took_s: dict[str, float] = {}

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        started_s = time.perf_counter()
        yield
        self.took_s[name] = time.perf_counter() - started_s


async def _one_size(count: int, folder: Path) -> dict[str, float]:
    numbers = random.Random(20260301)
    clock = _Clock()
    site = _site(count, folder)
    values = [{name: one.value for name, one in reported_by(number).items()} for number in range(count)]
    for number in numbers.sample(range(count), int(count * BROKEN_SHARE)):
        values[number]["cloud.enabled"] = True
    path = folder / "scale.db"
    async with Store.open(path) as store:
        for night, keeping in enumerate(("keep the first audit", "keep the next one")):
            at = FIRST + timedelta(days=night)
            for number in numbers.sample(range(count), int(count * CHANGED_SHARE) * night):
                values[number]["net.ssid"] = "house-iot-2"
            merged = Merged(devices=tuple(seen_device(number, at) for number in range(count)), conflicts=())
            readings: dict[str, Reading] = {
                one.id: _snapshot(one, at, values[number], numbers) for number, one in enumerate(merged.devices)
            }
            evidence = Evidence(merged=merged, readings=readings, sources=())
            with clock.step("judge"):
                findings = account(site, CompiledPolicy(site.policy, site.networks), evidence)
            run = await store.begin_run(at, site.policy.digest)
            with clock.step(keeping):
                await store.keep_audit(
                    run,
                    devices=merged.devices,
                    readings=list(readings.values()),
                    placed={point.name: f"mac:{point.mac}" for point in site.plan.points},
                    findings=findings,
                    ended_at=at + timedelta(minutes=1),
                    counts={"met": len(findings)},
                )
    heading = Heading(
        site=site.name, run=run, started_at=at, duration_s=60, policy=site.policy.id,
        policy_digest=site.policy.digest, points=count, devices=count,
    )  # fmt: skip
    with clock.step("report as text"):
        text = audit_text(heading, findings, Style())
    peak_bytes = _peak_bytes()
    with clock.step("report as JSON"):
        result = AuditResult(
            heading=heading, ended_at=at, counts={}, findings=findings, sources=(), conflicts=()
        )  # fmt: skip
        with (folder / "audit.json").open("w", encoding="utf-8") as file:
            file.writelines(written(result, "json"))
    if "BROKEN" not in text and count >= 1 / BROKEN_SHARE:
        raise RuntimeError("the report does not say what is broken")
    return clock.took_s | {
        "peak_bytes": peak_bytes,
        "json_peak_bytes": _peak_bytes(),
        "file_bytes": _size(path),
        "document_bytes": (folder / "audit.json").stat().st_size,
        "findings": len(findings),
    }


def _site(count: int, folder: Path) -> Site:
    points = tuple(
        Point(name=f"point-{number}", room=f"Room {number // 10}", kind=KIND, mac=mac_of(number), settings=PLANNED)
        for number in range(count)
    )
    return Site(
        name="Bench",
        folder=folder,
        networks=HOUSE_NETWORKS,
        plan=Plan(points=points),
        policy=load_policy("isolated-house", folder),
        profiles=(profile(80),),
    )


def _snapshot(device: Device, at: datetime, values: dict[str, Value], numbers: random.Random) -> Snapshot:
    measured = {"health.temperature_c": round(numbers.uniform(30, 60), 1), "net.rssi_dbm": numbers.randint(-85, -45)}
    reported = {name: Reported(value=value, origin="GET /lines") for name, value in (values | measured).items()}
    return Snapshot(device=device.id, kind=KIND, taken_at=at, duration_s=0.5, values=reported)


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024  # Linux counts in KiB


def _size(path: Path) -> int:
    return path.stat().st_size


if __name__ == "__main__":
    if len(sys.argv) > 1:
        with tempfile.TemporaryDirectory() as made:
            print(json.dumps(asyncio.run(_one_size(int(sys.argv[1]), Path(made)))))
    else:
        print(shown(measure(Size(is_tiny=False)), is_judged=True))
