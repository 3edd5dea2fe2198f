"""IPFIX: the octets of messages and templates.

What belongs here: RFC 7011 section 3. What does not: what templates and records come to.
"""

import struct
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from pattress.egress.flows.message import IPFIX, Message, sets_in
from pattress.egress.flows.templates import MAX_FIELDS, Field, Template, Withdrawal, template_of

TEMPLATE_SET: Final = 2
OPTIONS_SET: Final = 3


def read_message(payload: bytes) -> Message | None:
    """Return the message of a datagram, or None where it is none."""
    if len(payload) < _MESSAGE.size:
        return None
    version, length, sequence, domain = _MESSAGE.unpack_from(payload)
    if version != IPFIX or not _MESSAGE.size <= length <= len(payload):
        return None
    sets, faults = sets_in(payload, _MESSAGE.size, length)
    if length < len(payload):
        faults += 1
    return Message(IPFIX, domain, sequence, sets, faults)


def templates_in(
    payload: bytes, start: int, end: int, *, is_options: bool, at: datetime
) -> Iterator[Template | Withdrawal | None]:
    """Return the templates and withdrawals of a set; None stands for one that was not taken.

    What follows one that does not fit cannot be told, and is left.
    """
    while end - start >= _HEADER.size:
        number, count = _HEADER.unpack_from(payload, start)
        if number == count == 0:
            return  # padding
        if count == 0:
            is_all = number == (OPTIONS_SET if is_options else TEMPLATE_SET)
            yield Withdrawal(None if is_all else number, is_options)
            start += _HEADER.size
            continue
        following = start + _HEADER.size
        scopes = 0
        if is_options:
            if end - following < 2:
                yield None
                return
            scopes = int.from_bytes(payload[following : following + 2])
            following += 2
        fields, following = _fields(payload, following, end, count)
        if len(fields) < count or scopes > count:
            yield None
            return
        record = payload[start:following]
        yield template_of(number, fields, is_options=is_options, record=record, at=at, scopes=scopes)
        start = following


def _fields(payload: bytes, start: int, end: int, count: int) -> tuple[list[Field], int]:
    """Return up to `count` fields and where they end; fewer where they do not fit, or are over the bound."""
    fields: list[Field] = []
    while len(fields) < min(count, MAX_FIELDS) and end - start >= _FIELD.size:
        element, length = _FIELD.unpack_from(payload, start)
        start += _FIELD.size
        enterprise = 0
        if element & _ENTERPRISE_BIT:
            if end - start < 4:
                break
            enterprise = int.from_bytes(payload[start : start + 4])
            start += 4
            if enterprise == 0:
                enterprise = -1  # the bit is set, so that it is no element of IANA's, whatever the number says
        fields.append(Field(element & ~_ENTERPRISE_BIT, length, enterprise))
    return fields, start


_MESSAGE = struct.Struct("!HH4xII")
_HEADER = struct.Struct("!HH")
_FIELD = struct.Struct("!HH")
_ENTERPRISE_BIT = 0x8000
