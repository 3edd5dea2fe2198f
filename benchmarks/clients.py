"""Two clients that read the same devices: ours, and a bare aiohttp loop that only fetches and decodes.

Run as `python -m benchmarks.clients ours|bare NETWORK COUNT PORT`, each in a process of its own, so that processor time
and peak memory are those of one client alone. It prints one JSON object.
"""

import asyncio
import ipaddress
import json
import resource
import sys
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path

import aiohttp

from benchmarks.documents import DOCUMENTS, SETTING_COUNT
from benchmarks.emulated import EmulatedDevices, allow_open_files
from pattress.model.reading import Reading, Snapshot
from pattress.model.site import Limits
from pattress.reading.http import KEPT_OPEN_S, HttpLink
from pattress.reading.reader import Reader
from pattress.wire.reach import Reach

AT_ONCE = 100
ANSWER_S = 30.0  # a busy machine must not turn a measurement into a retry
DEVICE_S = 120.0
LOOPBACK = Reach(networks=(ipaddress.ip_network("127.0.0.0/8"),), own=frozenset())


async def read_with_ours(devices: EmulatedDevices) -> list[Reading]:
    """Read every device with the program's own reader.

    Raises:
        RuntimeError: If one was not read whole, so that its time says nothing.
    """
    limits = Limits(answer_s=ANSWER_S, device_s=DEVICE_S, at_once=AT_ONCE)
    async with HttpLink(LOOPBACK, answer_s=ANSWER_S) as link:
        reader = Reader(link, {}, limits, lambda: datetime.now(UTC))
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(reader.read(target)) for target in devices.targets()]
    readings = [task.result() for task in tasks]
    for reading in readings:
        if not isinstance(reading, Snapshot) or len(reading.values) != SETTING_COUNT or reading.errors:
            raise RuntimeError(f"a device was not read whole: {reading}")
    return readings


async def read_with_bare_aiohttp(devices: EmulatedDevices) -> None:
    """Fetch and decode every document of every device, and nothing else."""
    slots = asyncio.Semaphore(AT_ONCE)
    connector = aiohttp.TCPConnector(limit=0, limit_per_host=1, keepalive_timeout=KEPT_OPEN_S, use_dns_cache=False)
    timeout = aiohttp.ClientTimeout(total=ANSWER_S)
    async with aiohttp.ClientSession(connector=connector, timeout=timeout) as session:

        async def read_one(address: str) -> None:
            async with slots:
                for name in DOCUMENTS:
                    async with session.get(f"http://{address}:{devices.port}/{name}") as response:
                        await response.json()

        async with asyncio.TaskGroup() as group:
            for address in devices.addresses:
                group.create_task(read_one(address))


CLIENTS: dict[str, Callable[[EmulatedDevices], Awaitable[object]]] = {
    "ours": read_with_ours,
    "bare": read_with_bare_aiohttp,
}


def main(client: str, network: str, count: str, port: str) -> None:
    """Read all devices once, and print what it cost."""
    devices = EmulatedDevices(network, int(count), int(port))
    allow_open_files(devices.count)
    started_s, cpu_before_s = time.perf_counter(), time.process_time()

    async def read() -> None:
        await CLIENTS[client](devices)

    asyncio.run(read())
    cost = {
        "cpu_s": time.process_time() - cpu_before_s,
        "wall_s": time.perf_counter() - started_s,
        "peak_bytes": _peak_bytes(),
    }
    print(json.dumps(cost))


def _peak_bytes() -> int:
    """Return the peak memory of this program. What getrusage says may be that of the process which started it."""
    status = Path("/proc/self/status")
    if status.exists():
        peak = next(line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM:"))
        return int(peak.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    main(*sys.argv[1:])
