"""What the three protocols have in common: a message that holds sets.

What belongs here: the message, and stepping through its sets. What does not: what one protocol alone has.
"""

import struct
from typing import Final, NamedTuple

IPFIX: Final = 10
NETFLOW_9: Final = 9
NETFLOW_5: Final = 5


FlowSet = tuple[int, int, int]
"""One set: its number, and where its content begins and ends in the datagram. Plain, for every datagram makes some."""


class Message(NamedTuple):
    """A message of flow export. What it says of the time is not used. `faults` counts what did not fit."""

    version: int
    domain: int
    sequence: int
    sets: list[FlowSet]
    faults: int = 0
    sampling: int | None = None


def sets_in(payload: bytes, start: int, end: int) -> tuple[list[FlowSet], int]:
    """Return the sets between two places, and 1 where one of them does not fit, which ends it, else 0."""
    found: list[FlowSet] = []
    while end - start >= _HEADER.size:
        number, length = _HEADER.unpack_from(payload, start)
        if length < _HEADER.size or start + length > end:
            return found, 1
        found.append((number, start + _HEADER.size, start + length))
        start += length
    return found, 0


_HEADER = struct.Struct("!HH")
