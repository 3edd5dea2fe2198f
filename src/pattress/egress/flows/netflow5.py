"""NetFlow v5: the octets of packets, whose records all have one shape.

What belongs here: the header, and the shape as a template, so that records are read as those of the other protocols.
"""

import struct
from datetime import datetime
from typing import Final

from pattress.egress.flows.message import NETFLOW_5, Message
from pattress.egress.flows.templates import Field, Template, template_of

SHAPE: Final = 256  # the number that its only template has with us
RECORD_OCTETS: Final = 48
MAX_RECORDS: Final = 30  # of one packet


def read_message(payload: bytes) -> Message | None:
    """Return the message of a datagram, or None where it is none; the engine's type and number are its domain."""
    if len(payload) < _MESSAGE.size:
        return None
    version, count, sequence, engine, sampling = _MESSAGE.unpack_from(payload)
    end = _MESSAGE.size + count * RECORD_OCTETS
    if version != NETFLOW_5 or not 1 <= count <= MAX_RECORDS or end > len(payload):
        return None
    interval = sampling & 0x3FFF  # the two high bits are the mode
    sets = [(SHAPE, _MESSAGE.size, end)]
    faults = 1 if end < len(payload) else 0
    return Message(NETFLOW_5, engine, sequence, sets, faults, max(1, interval))


def shape(at: datetime) -> Template:
    """Return the shape of all records as a template."""
    template = template_of(SHAPE, [Field(*field) for field in _FIELDS], is_options=False, record=b"", at=at)
    assert template is not None  # noqa: S101 - the fields below are within the bounds
    return template


_MESSAGE = struct.Struct("!HH12xIHH")
# Element and length, in their order; 0 for what is not used or has no element.
_FIELDS = (
    *((8, 4), (12, 4), (15, 4), (10, 2), (14, 2), (2, 4), (1, 4), (22, 4), (21, 4), (7, 2), (11, 2)),
    *((0, 1), (6, 1), (4, 1), (5, 1), (16, 2), (17, 2), (9, 1), (13, 1), (0, 2)),
)
