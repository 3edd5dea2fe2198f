"""Reading a house whose devices are slow and have room for one connection, beside the slowest device's own time."""

import asyncio
import http.client
import json
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.clients import ANSWER_S, read_with_ours
from benchmarks.documents import DOCUMENTS, SETTING_COUNT, jq_filter
from benchmarks.emulated import EmulatedDevices, emulated_devices
from benchmarks.house import site_of
from benchmarks.measured import Benchmark, Measured, Size
from pattress.audit.run import run_audit
from pattress.model.reading import Snapshot
from pattress.store.store import Store

NETWORK = "127.79"
RATIO_AT_MOST = 1.3
AUDIT_RATIO_AT_MOST = 1.1
SHELL_LOOP = """
for address in {addresses}; do
  curl --silent --fail {urls} | jq --slurp --compact-output '{filter}' || exit 1
done
"""


def measure(size: Size) -> Benchmark:
    """Read all devices at once, audit them, and read them one by one in a shell."""
    count = size.of(full=60, tiny=3)
    answer_ms = size.of(full=150, tiny=10)
    window_s = size.of(full=4_000, tiny=200) / 1_000
    notes = []
    ours_s, most_connections = _ours(count, answer_ms, times=size.of(full=4, tiny=1))
    with emulated_devices(NETWORK, count, answer_ms / 1_000) as devices:
        slowest_s = max(_barely_s(devices, number) for number in (0, count - 1))
        audit_s = _audit_s(devices, window_s)
        short_audit_s = min(_audit_s(devices, 0.1) for _ in range(size.of(full=3, tiny=1)))
        missing = [program for program in ("curl", "jq", "sh") if shutil.which(program) is None]
        shell_s = None if missing else _timed(lambda: _read_by_shell(devices))
    if missing:
        notes.append(f"the shell loop was skipped: there is no {' and no '.join(missing)} here")
    notes.append(f"the whole audit ended {audit_s - window_s:+.2f} s after its window of {window_s:g} s")
    slowest = "slowest device's own"
    return Benchmark(
        title=f"reading_gently: {count} devices, three documents each at {answer_ms} ms an answer, one seat each",
        figures=[
            Measured(what="read all at once", unit="s", ours=ours_s, reference=slowest_s, beside=slowest,
                     ratio_at_most=RATIO_AT_MOST),
            Measured(what="most connections to one device", unit="at once", ours=most_connections, ours_at_most=1),
            Measured(what="whole audit", unit="s", ours=audit_s, reference=max(window_s, slowest_s),
                     beside="listening window", ratio_at_most=AUDIT_RATIO_AT_MOST),
            Measured(what="whole audit that listens 0.1 s", unit="s", ours=short_audit_s, reference=slowest_s,
                     beside=slowest),
            Measured(what="read all at once", unit="s", ours=ours_s, reference=shell_s, beside="curl and jq in a loop"),
        ],
        notes=notes,
    )  # fmt: skip


def _ours(count: int, answer_ms: int, times: int) -> tuple[float, int]:
    """Return our best time, and the most connections that any device had at once, each time with new devices."""
    took_s, connections = [], []
    for _ in range(times):
        with emulated_devices(NETWORK, count, answer_ms / 1_000) as devices:
            took_s.append(_timed(lambda: asyncio.run(_read(devices))))
        connections.append(devices.most_connections or 0)
    return min(took_s), max(connections)


async def _read(devices: EmulatedDevices) -> None:
    await read_with_ours(devices)


def _barely_s(devices: EmulatedDevices, number: int) -> float:
    return min(_timed(lambda: _read_barely(devices, number)) for _ in range(2))


def _read_barely(devices: EmulatedDevices, number: int) -> None:
    """Read one device as plainly as can be: one connection, one question after the other."""
    connection = http.client.HTTPConnection(devices.addresses[number], devices.port, timeout=ANSWER_S)
    for name in DOCUMENTS:
        connection.request("GET", f"/{name}")
        json.load(connection.getresponse())
    connection.close()


def _read_by_shell(devices: EmulatedDevices) -> None:
    urls = " ".join(f'"http://$address:{devices.port}/{name}"' for name in DOCUMENTS)
    script = SHELL_LOOP.format(addresses=" ".join(devices.addresses), urls=urls, filter=jq_filter())
    ended = subprocess.run(["sh", "-c", script], check=True, stdout=subprocess.PIPE, text=True)
    found = [json.loads(line) for line in ended.stdout.splitlines()]
    if len(found) != devices.count or any(len(one) != SETTING_COUNT or None in one.values() for one in found):
        raise RuntimeError("the shell loop did not find every setting of every device")


def _audit_s(devices: EmulatedDevices, listen_s: float) -> float:
    """Return how long an audit into a new database takes, all of it."""
    with tempfile.TemporaryDirectory() as folder:
        return _timed(lambda: asyncio.run(_audit(devices, Path(folder), listen_s)))


async def _audit(devices: EmulatedDevices, folder: Path, listen_s: float) -> None:
    site = site_of(devices, folder, listen_s=listen_s, answer_s=ANSWER_S)
    async with Store.open(folder / "bench.db") as store:
        audit = await run_audit(site, store, clock=lambda: datetime.now(UTC))
    whole = [one for one in audit.readings.values() if isinstance(one, Snapshot) and len(one.values) == SETTING_COUNT]
    if len(whole) != devices.count:
        raise RuntimeError(f"the audit read {len(whole)} of {devices.count} devices whole")


def _timed(call: Callable[[], object]) -> float:
    started_s = time.perf_counter()
    call()
    return time.perf_counter() - started_s
