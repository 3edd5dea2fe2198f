"""How much flow export over UDP can be taken without loss: by our listener, and by nfcapd where it is installed."""

import asyncio
import ipaddress
import json
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from benchmarks.flow_stream import HOUSE
from pattress.egress import datagrams
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.listener import FlowListener
from pattress.egress.flows.screening import Call
from pattress.egress.space import Space
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tallies
from pattress.model.encounter import Traffic
from pattress.model.watching import WatchSource

FIRST_RATE = 50_000.0  # records a second
HIGHEST_RATE = 6_400_000.0  # beyond what one process can send here
HALVINGS = 3  # to within an eighth
KEPT_PACE = 0.9  # a sender that cannot keep it is at its own limit
STARTS_WITHIN_S = 10
DRAINED_AFTER_S = 0.3  # without anything in the queue
LOOPBACK = ipaddress.ip_address("127.0.0.1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One stream: how many records were sent in what time, how many were heard, what it cost."""

    sent: int
    heard: int
    seconds: float
    processor_s: float

    @property
    def is_whole(self) -> bool:
        """Whether nothing was lost."""
        return self.sent == self.heard > 0

    @property
    def rate(self) -> float:
        """Records a second, as they were really sent."""
        return self.sent / self.seconds


class Highest(NamedTuple):
    """The fastest stream without loss, None where every one lost some; and whether any of them did."""

    trial: Trial | None
    has_lost: bool


def highest(trial: Callable[[float], Trial]) -> Highest:
    """Find the fastest stream without loss by doubling, and then halving what is between."""
    best, has_lost = None, False
    low, high, rate = 0.0, HIGHEST_RATE, FIRST_RATE
    while high - low > high / 2**HALVINGS:
        tried = trial(rate)
        has_lost |= not tried.is_whole
        if tried.is_whole and (best is None or tried.rate > best.rate):
            best = tried
        if tried.is_whole and tried.rate > KEPT_PACE * rate:
            low = rate
            rate = min(2 * rate, (low + high) / 2)
        else:
            high = rate
            rate = (low + high) / 2
    return Highest(best, has_lost)


def granted_buffer_bytes() -> int:
    """Return the receive buffer that everybody may have here, so that both sides are given the same."""
    limit = Path("/proc/sys/net/core/rmem_max")
    return min(datagrams.WANTED_BUFFER_BYTES, int(limit.read_text()) if limit.exists() else 212_992)


def ours(rate: float, seconds: float) -> Trial:
    """Send a stream to our listener, in this process, with `granted_buffer_bytes`."""
    return asyncio.run(_ours(rate, seconds))


async def _ours(rate: float, seconds: float) -> Trial:
    source = WatchSource(name="router", kind="flows", senders=(LOOPBACK,))
    tallies = Tallies()
    space = BulkSpace(Space(HOUSE))
    wanted_bytes, datagrams.WANTED_BUFFER_BYTES = datagrams.WANTED_BUFFER_BYTES, granted_buffer_bytes()
    stop = asyncio.Event()

    def sink(_: WatchSource, traffic: list[Traffic], calls: list[Call]) -> None:
        pass

    at = ("127.0.0.1", 0)
    listener = FlowListener(at, {LOOPBACK: source}, tallies, FlowDecoder(), space, lambda: datetime.now(UTC))
    try:
        async with asyncio.TaskGroup() as group:
            group.create_task(listener.listen(sink, stop), name="listener")
            await listener.is_listening.wait()
            before_s = time.process_time()
            sending = await asyncio.create_subprocess_exec(
                *_sender(listener.port, rate, seconds), stdout=asyncio.subprocess.PIPE
            )
            said, _ = await sending.communicate()
            await asyncio.to_thread(_wait_drained, listener.port)
            processor_s = time.process_time() - before_s
            stop.set()
    finally:
        datagrams.WANTED_BUFFER_BYTES = wanted_bytes
    sent = json.loads(said)
    tally = tallies.of("router")
    if tally.refused or tallies.strangers:
        raise RuntimeError(f"the stream was refused: {tally}")
    return Trial(sent=sent["records"], heard=tally.heard, seconds=sent["seconds"], processor_s=processor_s)


def has_nfcapd() -> bool:
    """Whether the reference is installed."""
    return shutil.which("nfcapd") is not None and shutil.which("nfdump") is not None


def nfcapd(rate: float, seconds: float) -> Trial:
    """Send a stream to nfcapd, and have nfdump count what it wrote."""
    port = _free_port()
    with tempfile.TemporaryDirectory() as folder:
        command = ["nfcapd", "-w", folder, "-b", "127.0.0.1", "-p", str(port), "-B", str(granted_buffer_bytes())]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as receiving:
            try:
                _wait_bound(port, receiving)
                said = subprocess.run(_sender(port, rate, seconds), check=True, capture_output=True).stdout
                _wait_drained(port)
                processor_s = _processor_s(receiving.pid)
            finally:
                receiving.terminate()
        counted = subprocess.run(["nfdump", "-R", folder, "-I"], check=True, capture_output=True, text=True).stdout
    sent = json.loads(said)
    heard = re.search(r"^Flows: (\d+)$", counted, re.MULTILINE)
    if heard is None:
        raise RuntimeError(f"nfdump does not say how many flows there are: {counted}")
    return Trial(sent=sent["records"], heard=int(heard[1]), seconds=sent["seconds"], processor_s=processor_s)


def _sender(port: int, rate: float, seconds: float) -> list[str]:
    return [sys.executable, "-m", "benchmarks.flow_sender", str(port), str(rate), str(seconds)]


def _free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bound:
        bound.bind(("127.0.0.1", 0))
        port: int = bound.getsockname()[1]
        return port


def _wait_bound(port: int, receiving: subprocess.Popen[bytes]) -> None:
    deadline_s = time.monotonic() + STARTS_WITHIN_S
    while _queued_bytes(port) is None:
        if receiving.poll() is not None or time.monotonic() > deadline_s:
            raise RuntimeError(f"nfcapd does not listen at port {port}")
        time.sleep(0.05)


def _wait_drained(port: int) -> None:
    empty_since_s = time.monotonic()
    while time.monotonic() - empty_since_s < DRAINED_AFTER_S:
        if _queued_bytes(port):
            empty_since_s = time.monotonic()
        time.sleep(0.02)


def _queued_bytes(port: int) -> int | None:
    """Return what waits in a UDP socket of loopback, or None where there is no such socket. Source: proc(5)."""
    for line in Path("/proc/net/udp").read_text().splitlines()[1:]:
        words = line.split()
        if words[1].endswith(f":{port:04X}"):
            return int(words[4].partition(":")[2], 16)
    return None


def _processor_s(process: int) -> float:
    """Return the processor time of all threads so far. Source: Documentation/scheduler/sched-stats of Linux."""
    threads = Path(f"/proc/{process}/task").glob("*/schedstat")
    return sum(int(one.read_text().split()[0]) for one in threads) / 1e9
