"""The connection table of a Linux host into evidence: one line in, a record out.

What belongs here: `/proc/net/nf_conntrack`, and the lists and events that conntrack-tools print. What does not: reading
them, and judging. A line tells a connection as its first packet had it, then as its answers have it.
"""

import re
from datetime import datetime
from typing import NamedTuple

from pattress.egress.log_head import MAX_LINE_LENGTH, address_of
from pattress.model.encounter import Traffic

MAX_FIELDS = 64  # a line has about 25


class Connection(NamedTuple):
    """A connection as the table has it.

    `expires_s` is after how long the kernel forgets it if no packet comes; each packet puts it up again. It is None
    where the kernel does not say, as for connections that it hands to the hardware.
    """

    traffic: Traffic
    expires_s: int | None


def connection_of(line: str, source: str, now: datetime) -> Connection | None:
    """Return the connection that a line tells, or None where it tells none.

    The sender is who began, before any translation of its address. Where the address that was called was translated
    (a port let in from the outside, a resolver that catches all questions), the receiver is who was really called:
    the one whose answers are expected. Packets and octets are 0 where the kernel does not count them.
    """
    fields = line[:MAX_LINE_LENGTH].split(maxsplit=MAX_FIELDS)[:MAX_FIELDS]
    first = next((at for at, word in enumerate(fields) if word.startswith("src=")), None)
    if first is None:
        return None
    there, back, marks = _directions(fields[first:])
    sender, called = address_of(there.get("src", "")), address_of(there.get("dst", ""))
    if sender is None or called is None:
        return None
    answerer = address_of(back.get("src", ""))
    is_caught = answerer is not None and answerer != called
    port = (back if is_caught else there).get("sport" if is_caught else "dport")
    back_packets = _number(back.get("packets"))
    protocol, expires_s = _head(fields[:first])
    traffic = Traffic(
        source=source,
        at=now,
        sender=sender,
        receiver=answerer if is_caught and answerer is not None else called,
        protocol=protocol,
        sender_port=_number(there.get("sport"), 65535),
        receiver_port=_number(port, 65535),
        icmp_type=_number(there.get("type"), 255),
        packets=_number(there.get("packets")) or 0,
        octets=_number(there.get("bytes")) or 0,
        back_packets=back_packets or 0,
        back_octets=_number(back.get("bytes")) or 0,
        initiator="sender",
        is_answered=_is_answered(marks, back_packets, is_whole="dst" in back),
    )
    return Connection(traffic, expires_s)


def _directions(fields: list[str]) -> tuple[dict[str, str], dict[str, str], set[str]]:
    """Return the keys of each direction and the marks in brackets. The second `src=` begins the second direction."""
    there: dict[str, str] = {}
    back: dict[str, str] = {}
    marks: set[str] = set()
    into = there
    for field in fields:
        key, equals, value = field.partition("=")
        if not equals:
            marks.add(field)
            continue
        if key == "src" and "src" in there:
            into = back
        into.setdefault(key, value)
    return there, back, marks


def _is_answered(marks: set[str], back_packets: int | None, *, is_whole: bool) -> bool | None:
    """The kernel marks what it saw no answer to; the count, where there is one, must not say otherwise."""
    if "[UNREPLIED]" in marks or back_packets == 0:
        return False
    return True if "[ASSURED]" in marks or is_whole else None


def _head(fields: list[str]) -> tuple[int | None, int | None]:
    """Return the two numbers behind the protocol's name: its own, and after how many seconds the entry expires.

    The family and its number may stand before; the state of a TCP connection stands behind.
    """
    words = [field for field in fields if not field.startswith("[")]
    if words[:1] in (["ipv4"], ["ipv6"]):
        words = words[2:]
    protocol, expires = (*words[1:3], None, None)[:2]
    return _number(protocol, 255), _number(expires)


def _number(text: str | None, most: int = 2**63 - 1) -> int | None:
    # 20 digits hold every counter of 64 bits; the database keeps signed ones.
    if text is None or not _DIGITS.fullmatch(text) or int(text) > most:
        return None
    return int(text)


_DIGITS = re.compile(r"[0-9]{1,20}")
