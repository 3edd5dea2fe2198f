"""Where on loopback the house can stand on this machine.

What belongs here: finding a ground, the one place that only one house at a time may have, listening sockets. What does
not: what listens there.
"""

import asyncio
import contextlib
import errno
import socket
from collections.abc import AsyncIterator

from pattress.lab.house import Ground
from pattress.model.errors import UsageError

MILL_GROUND = Ground(network="127.77.0.0/24", house_server="127.77.0.1", prefix="127.77.0")
NARROW_GROUND = Ground(network="127.0.0.1/32", house_server="127.0.0.1", prefix=None)
FIRST_PORT = 8000  # a module's port is this plus its number, so that it keeps it from one start to the next
HOUSE_PORT = 47_177  # whoever holds this port of 127.0.0.1 is the emulated house of this machine
LOOK_AGAIN_S = 0.1


def find_ground() -> Ground:
    """Return the ground with an address for each module, or where the system has not those, the narrow one.

    Linux gives 127.0.0.0/8 to loopback; macOS only 127.0.0.1.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        try:
            probe.bind((MILL_GROUND.house_server, 0))
        except OSError:
            return NARROW_GROUND
    return MILL_GROUND


@contextlib.asynccontextmanager
async def only_house(*, wait_s: float) -> AsyncIterator[None]:
    """Be the only emulated house of this machine: two would announce the same modules.

    The port that says so is freed by the system however the process ends.

    Raises:
        UsageError: If another one runs and has not ended within `wait_s`.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as claim:
        until_s = asyncio.get_running_loop().time() + wait_s
        while not _bound(claim, ("127.0.0.1", HOUSE_PORT)):
            if asyncio.get_running_loop().time() >= until_s:
                raise UsageError(
                    "an emulated house is running on this machine already",
                    where=f"127.0.0.1 port {HOUSE_PORT}",
                    next_step="End it first; one at a time can be announced",
                )
            await asyncio.sleep(LOOK_AGAIN_S)
        yield


def listener(ground: Ground, number: int, backlog: int) -> socket.socket:
    """Return a socket that listens for the module with this number, on its own port if that is free."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        own_port = FIRST_PORT + number if ground.prefix is not None else 0
        if not _bound(opened, (ground.address(number), own_port)):
            opened.bind((ground.address(number), 0))
        opened.listen(backlog)
        opened.setblocking(False)
    except BaseException:
        opened.close()
        raise
    return opened


def free_udp_port(host: str) -> int:
    """Return a UDP port of an address that nobody has now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((host, 0))
        return int(probe.getsockname()[1])


def _bound(unbound: socket.socket, place: tuple[str, int]) -> bool:
    try:
        unbound.bind(place)
    except OSError as error:
        if error.errno != errno.EADDRINUSE:
            raise
        return False
    return True
