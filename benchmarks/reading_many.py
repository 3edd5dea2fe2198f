"""Processor time and memory of reading many devices that answer at once, beside a bare aiohttp loop."""

import json
import subprocess
import sys

from benchmarks.documents import bodies
from benchmarks.emulated import ROOT, EmulatedDevices, emulated_devices
from benchmarks.measured import Benchmark, Measured, Size

NETWORK = "127.80"
RATIO_AT_MOST = 2.0
MEBIBYTE = 1 << 20


def measure(size: Size) -> Benchmark:
    """Read all devices several times with each client in turn; keep the best of each."""
    count = size.of(full=2_000, tiny=20)
    with emulated_devices(NETWORK, count, 0.0) as devices:
        ours, bare = [], []
        for _ in range(size.of(full=4, tiny=1)):
            bare.append(_cost(devices, "bare"))
            ours.append(_cost(devices, "ours"))
    document_bytes = sum(len(body) for body in bodies(0).values())

    def best(what: str, unit: str, key: str, by: float, goal: float | None = None) -> Measured:
        return Measured(
            what=what,
            unit=unit,
            ours=min(cost[key] for cost in ours) / by,
            reference=min(cost[key] for cost in bare) / by,
            beside="bare aiohttp",
            ratio_at_most=goal,
        )

    return Benchmark(
        title=f"reading_many: {count} devices that answer at once, three documents of {document_bytes} bytes together",
        figures=[
            best("processor time", "s", "cpu_s", 1, RATIO_AT_MOST),
            best("time on the clock", "s", "wall_s", 1),
            best("peak memory of the process", "MiB", "peak_bytes", MEBIBYTE),
        ],
        notes=[
            "the bare loop fetches and decodes; ours also checks, finds 40 settings, proves identity, keeps origins"
        ],
    )


def _cost(devices: EmulatedDevices, client: str) -> dict[str, float]:
    command = [
        sys.executable,
        "-m",
        "benchmarks.clients",
        client,
        devices.network,
        str(devices.count),
        str(devices.port),
    ]
    ended = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
    cost: dict[str, float] = json.loads(ended.stdout)
    return cost
