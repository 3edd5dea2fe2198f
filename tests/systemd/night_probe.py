"""Tries what the unit must keep it from, and prints how each attempt ended, as JSON.

Run as a program, in place of the audit in its unit.
"""

import ctypes
import errno
import json
import os
import socket
from collections.abc import Callable
from pathlib import Path

NEW_USER_NAMESPACE = 0x1000_0000
ANY_PORT = 9


def ending(attempt: Callable[[], object]) -> str:
    try:
        attempt()
    except OSError as error:
        return errno.errorcode[error.errno or 0]
    return "done"


def unshare() -> None:
    library = ctypes.CDLL(None, use_errno=True)
    if library.unshare(NEW_USER_NAMESPACE) != 0:
        raise OSError(ctypes.get_errno(), "unshare")


def send(address: str) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.sendto(b"?", (address, ANY_PORT))


ATTEMPTS = {
    "a system call of @resources": lambda: os.sched_setaffinity(0, os.sched_getaffinity(0)),
    "a system call of @privileged": lambda: os.chown("/var/lib/pattress", -1, -1),  # its own
    "a user namespace": unshare,
    "a packet socket": lambda: socket.socket(socket.AF_PACKET, socket.SOCK_RAW).close(),
    "a datagram to a public address": lambda: send("203.0.113.5"),
    "a datagram to a private address": lambda: send("10.88.0.1"),
    "the secrets' own folder": lambda: os.listdir("/etc/pattress/secrets"),
    "a file outside the state": lambda: Path("/etc/pattress/more").touch(),
}

if __name__ == "__main__":
    print(json.dumps({name: ending(attempt) for name, attempt in ATTEMPTS.items()}))
