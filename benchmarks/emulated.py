"""Starting and ending what a measurement runs beside itself."""

import contextlib
import resource
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.device_server import address_of
from benchmarks.documents import mac_of, profile
from pattress.model.profile import Profile
from pattress.reading.target import Target

ROOT = Path(__file__).parents[1]
ENDING_S = 30
SPARE_FILES = 256  # what a process has open beside one connection for each device


@dataclass(slots=True)
class EmulatedDevices:
    """Devices that are being served. `most_connections`, of any one device at once, is known when they have ended."""

    network: str
    count: int
    port: int
    most_connections: int | None = None

    @property
    def addresses(self) -> list[str]:
        """Their addresses, in the order of their numbers."""
        return [address_of(self.network, number) for number in range(self.count)]

    @property
    def profile(self) -> Profile:
        """The profile of all of them."""
        return profile(self.port)

    def targets(self) -> list[Target]:
        """Return each of them as something to read."""
        shared = self.profile
        return [
            Target(
                device=f"mac:{mac_of(number)}",
                profile=shared,
                mac=mac_of(number),
                serial=None,
                name=None,
                addresses=((address, None),),
                is_planned=True,
            )
            for number, address in enumerate(self.addresses)
        ]


@contextlib.contextmanager
def emulated_devices(
    network: str, count: int, answer_s: float, limits_c: Sequence[int] = ()
) -> Iterator[EmulatedDevices]:
    """Serve devices in another process for the block; `limits_c` are the limits that the first of them report."""
    words = [network, str(count), str(answer_s), *map(str, limits_c)]
    command = [sys.executable, "-m", "benchmarks.device_server", *words]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:  # fmt: skip
        assert process.stdout is not None
        try:
            devices = EmulatedDevices(network, count, int(process.stdout.readline()))
            yield devices
            out, _ = process.communicate(timeout=ENDING_S)
            devices.most_connections = int(out)
        except BaseException:
            process.kill()
            raise


def allow_open_files(count: int) -> None:
    """Let this process have so many connections open at once, as far as the system lets it.

    Raises:
        RuntimeError: If the system does not.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = count + SPARE_FILES
    if soft != resource.RLIM_INFINITY and soft < wanted:
        if hard != resource.RLIM_INFINITY and hard < wanted:
            raise RuntimeError(f"this needs {wanted} open files, the system allows {hard} (ulimit -Hn)")
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
