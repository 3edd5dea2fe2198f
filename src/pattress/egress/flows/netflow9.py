"""NetFlow v9: the octets of packets and templates.

What belongs here: RFC 3954 sections 5 and 6. What does not: what templates and records come to.
"""

import struct
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from pattress.egress.flows.message import NETFLOW_9, Message, sets_in
from pattress.egress.flows.templates import MAX_FIELDS, Field, Template, template_of

TEMPLATE_SET: Final = 0
OPTIONS_SET: Final = 1


def read_message(payload: bytes) -> Message | None:
    """Return the message of a datagram, or None where it is none. The count of its header is not relied on."""
    if len(payload) < _MESSAGE.size:
        return None
    version, sequence, source_id = _MESSAGE.unpack_from(payload)
    if version != NETFLOW_9:
        return None
    sets, faults = sets_in(payload, _MESSAGE.size, len(payload))
    return Message(NETFLOW_9, source_id, sequence, sets, faults)


def templates_in(payload: bytes, start: int, end: int, *, is_options: bool, at: datetime) -> Iterator[Template | None]:
    """Return the templates of a set; None stands for one that was not taken.

    What follows one that does not fit cannot be told, and is left.
    """
    header = _OPTIONS if is_options else _TEMPLATE
    while end - start >= header.size:
        number, *lengths = header.unpack_from(payload, start)
        if number == 0:
            return  # padding
        scopes, count = (0, lengths[0])
        if is_options:
            scopes, count = lengths[0] // _FIELD.size, sum(lengths) // _FIELD.size
        following = start + header.size + count * _FIELD.size
        if following > end or count > MAX_FIELDS:
            yield None
            return
        specified = payload[start + header.size : following]
        fields = [Field(element, length) for element, length in _FIELD.iter_unpack(specified)]
        record = payload[start:following]
        yield template_of(number, fields, is_options=is_options, record=record, at=at, scopes=scopes)
        start = following


_MESSAGE = struct.Struct("!H10xII")
_TEMPLATE = struct.Struct("!HH")
_OPTIONS = struct.Struct("!HHH")
_FIELD = struct.Struct("!HH")
