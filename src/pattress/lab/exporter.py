"""The emulated router's exporter: flows go out as datagrams of flow export.

What belongs here: the socket. What does not: the octets (`flow_messages`), and which flows there are (`router`).
"""

import contextlib
import socket
from collections.abc import Sequence
from datetime import datetime
from typing import Self

from pattress.lab.flow_messages import Flow, FlowEncoder, Templates, Version
from pattress.lab.house import Endpoint


class Exporter:
    """Sends from an address of its own to a collector, both on this machine. Used in a `with` block.

    Args:
        host: The router's address, which the datagrams come from.
        collector: Where they go.
        version: The protocol.
        started_at: When the exporting process began.
    """

    def __init__(self, host: str, collector: Endpoint, *, version: Version = 10, started_at: datetime) -> None:
        self._host = host
        self._collector = collector
        self._encoder = FlowEncoder(version=version, started_at=started_at)
        self._socket: socket.socket | None = None

    def __enter__(self) -> Self:
        opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            opened.bind((self._host, 0))
            opened.setblocking(False)
        except BaseException:
            opened.close()
            raise
        self._socket = opened
        return self

    def __exit__(self, *_: object) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def export(self, flows: Sequence[Flow], at: datetime, *, templates: Templates = "when due") -> int:
        """Send what tells of flows; return how many datagrams that were. What nobody takes is lost, as it is by UDP."""
        if self._socket is None:
            raise RuntimeError("the exporter is used outside of its block")
        messages = self._encoder.messages(flows, at, templates=templates)
        for message in messages:
            with contextlib.suppress(BlockingIOError):
                self._socket.sendto(message, self._collector)
        return len(messages)
