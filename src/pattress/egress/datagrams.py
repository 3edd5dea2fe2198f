"""A UDP socket that is emptied many datagrams at a time, and knows how many the kernel dropped.

What belongs here: the socket. What does not: who may send, and what datagrams say.
"""

import contextlib
import ipaddress
import socket
import struct
import sys
from collections.abc import Callable

from pattress.model.addresses import IPAddress, parse_address

# The kernel counts each datagram at its size in memory (about 768 bytes for a short log line), so that this holds some
# 10,000: a second of a busy network. It is granted in full to CAP_NET_ADMIN, else up to net.core.rmem_max.
WANTED_BUFFER_BYTES = 8 * 1024 * 1024
MAX_DATAGRAMS_A_TURN = 500  # at 20 microseconds each for what is made of them, the loop is held for 10 ms

Take = Callable[[bytes, str, int, bool], None]
"""Takes a datagram: its bytes, the sender's address and port as the system gives them, whether its end was cut off."""


class Datagrams:
    """A bound socket. `buffer_bytes` is the receive buffer that the system granted."""

    def __init__(self, at: tuple[str, int], *, max_bytes: int) -> None:
        """Bind to an address and port, raising OSError. Of a datagram longer than `max_bytes` the end is cut off."""
        self.socket = bound_socket(at, socket.SOCK_DGRAM)
        self.buffer_bytes = _enlarge(self.socket)
        self._max_bytes = max_bytes
        self._dropped = 0

    def read(self, take: Take, at_most: int = MAX_DATAGRAMS_A_TURN) -> int:
        """Hand on what has come, up to a number, and return how many datagrams the kernel is known to have dropped."""
        receive, size = self.socket.recvmsg, self._max_bytes
        before = self._dropped
        for _ in range(at_most):
            try:
                data, extra, flags, sender = receive(size, _EXTRA_BYTES)
            except (BlockingIOError, InterruptedError):
                break
            if extra:
                self._note(extra)
            take(data, sender[0], sender[1], bool(flags & _CUT_OFF))
        return (self._dropped - before) % 2**32

    def _note(self, extra: list[tuple[int, int, bytes]]) -> None:
        for level, kind, data in extra:
            if level == socket.SOL_SOCKET and kind == SO_RXQ_OVFL and len(data) == _COUNT.size:
                (self._dropped,) = _COUNT.unpack(data)

    def close(self) -> None:
        """Close the socket; it is no error to do so twice."""
        self.socket.close()


def bound_socket(at: tuple[str, int], kind: socket.SocketKind) -> socket.socket:
    """Return a socket that does not block, bound to a numeric address and a port; `::` is bound for IPv4 as well."""
    [(family, _, _, _, address), *_] = socket.getaddrinfo(*at, type=kind, flags=socket.AI_NUMERICHOST)
    made = socket.socket(family, kind)
    try:
        made.setblocking(False)
        if kind == socket.SOCK_STREAM:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
        made.bind(address)
    except BaseException:
        made.close()
        raise
    return made


def sender_of(host: str) -> IPAddress | None:
    """Return the address of a sender as sockets give it: an IPv4 one that came by IPv6 unwrapped, without a zone."""
    address = parse_address(host)
    if isinstance(address, ipaddress.IPv6Address) and address.scope_id is not None:
        return ipaddress.IPv6Address(int(address))
    return address


def _enlarge(made: socket.socket) -> int:
    """Have the receive buffer made larger, have drops counted, and return the bytes granted."""
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, WANTED_BUFFER_BYTES)
    if sys.platform == "linux":
        with contextlib.suppress(PermissionError):
            made.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, WANTED_BUFFER_BYTES)
        made.setsockopt(socket.SOL_SOCKET, SO_RXQ_OVFL, 1)
        return made.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF) // 2  # Linux doubles it for its own needs
    return made.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)


# Source: socket(7) and asm-generic/socket.h of Linux; the counter is 32 bits since the socket was made, host order.
_SO_RCVBUFFORCE = 33
SO_RXQ_OVFL = 40
_COUNT = struct.Struct("=I")
_CUT_OFF = int(socket.MSG_TRUNC)  # as an enumeration it would take as long to look at as the datagram to receive
_EXTRA_BYTES = socket.CMSG_SPACE(_COUNT.size)
