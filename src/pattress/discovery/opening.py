"""The library's sockets for multicast DNS, on one interface alone.

What belongs here: opening and closing them, and why they cannot be opened. What does not: what is said over them.
"""

import errno
import logging
import socket
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from zeroconf import NotRunningException, Zeroconf
from zeroconf.asyncio import AsyncZeroconf

from pattress.discovery.interfaces import Interface

MDNS_PORT = 5353
START_S = 2.0  # opening the sockets takes milliseconds
IF_NAME_BYTES = 16  # IFNAMSIZ of Linux, with the zero byte at the end
RECEIVE_BUFFER_BYTES = 1_048_576  # the kernel's usual 212,992 hold about 90 packets; it gives what it allows


class OpenError(Exception):
    """Multicast DNS cannot be used on an interface. The message says why and what to do."""


@asynccontextmanager
async def opened(interface: Interface) -> AsyncIterator[Zeroconf]:
    """Open multicast DNS on one interface alone, and close it in the end.

    Raises:
        OpenError: If it cannot be used there.
    """
    _try_port()
    # An IPv6 address would not do: two interfaces on one network card have the same link-local one.
    choice: list[str | int] = []
    if interface.address is not None:
        choice.append(str(interface.address))
    if interface.has_ipv6:
        choice.append(interface.index)
    try:
        library = AsyncZeroconf(interfaces=choice)
    except (OSError, RuntimeError) as error:
        raise OpenError(_open_failure(interface, str(error))) from error
    try:
        try:
            await library.zeroconf.async_wait_for_start(START_S)
        except NotRunningException as error:
            raise OpenError(_open_failure(interface, f"it was not ready within {START_S:g} s")) from error
        if not library.zeroconf.engine.senders:
            raise OpenError(_open_failure(interface, "none of its addresses can be used"))
        try:
            for reader in library.zeroconf.engine.readers:
                _keep_apart(reader.sock, interface)
        except OSError as error:  # before Linux 5.7 this needs the capability CAP_NET_RAW
            raise OpenError(_open_failure(interface, f"its traffic cannot be kept apart ({error})")) from error
        yield library.zeroconf
    finally:
        await library.async_close()


def quieten_library() -> None:
    """Keep the library from logging every malformed packet of a stranger, unless someone has asked for its log."""
    logger = logging.getLogger("zeroconf")
    if logger.level in (logging.NOTSET, logging.WARNING):  # WARNING is what the library sets for itself
        logger.setLevel(logging.CRITICAL)


def _keep_apart(sock: socket.socket, interface: Interface) -> None:
    """Have a socket hear what comes in by its interface only, and hold a burst.

    Membership of a group is not enough: Linux gives a packet to every socket that has joined the group on any
    interface (IPv6) or where any program has (IPv4), and the devices of one interface would be seen on every other.
    """
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER_BYTES)
    if sys.platform == "linux":
        name = interface.name.encode() + b"\0"
        # Bound to a link-local IPv6 address, a socket is bound to its interface already, and to say so once more needs
        # the capability CAP_NET_RAW.
        if sock.getsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, IF_NAME_BYTES) != name:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, name)


def _try_port() -> None:
    """Raise where the port is held by a program that does not share it. The library would leave sockets behind."""
    for family, every in ((socket.AF_INET, "0.0.0.0"), (socket.AF_INET6, "::")):  # noqa: S104 the group needs it
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as sock:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
                sock.bind((every, MDNS_PORT))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise OpenError(
                    f"UDP port {MDNS_PORT} is held by a program that does not share it. Find it with"
                    f" `ss -ulpn sport = :{MDNS_PORT}` and stop it, or have it share the port"
                ) from error
            # A host without IPv6 is no fault; what else there is, the library meets too, and it is reported then.


def _open_failure(interface: Interface, reason: str) -> str:
    return f"the interface {interface.name} cannot be used: {reason}. See whether it is up and has its address"
