"""What is new in a connection table that is looked at again and again.

What belongs here: telling one connection from another, and what was told of each. What does not: reading the table.
"""

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from pattress.egress.connections import Connection
from pattress.model.encounter import Traffic

# A router of a house tracks some 2,000. About 700 bytes each: 12 MB.
MAX_CONNECTIONS = 16_384
# What goes on is told again, or a connection that stays open for days would seem to have been over in a minute.
TELL_AGAIN = timedelta(hours=1)
KEPT_LOOKS = 2  # a table that changes while it is read may leave out what is still there


@dataclass(slots=True)
class _Told:
    """What was last told of a connection, and in which look it was last there; `has_moved` is since it was told."""

    look: int
    at: datetime
    traffic: Traffic
    expires_s: int | None
    has_moved: bool = False


class ConnectionChanges:
    """The connections of earlier looks. `over` counts those of the last look that were left out, as there was no room.

    Told is each connection that is new, that is answered for the first time, or that has had traffic for an hour more;
    each time with the packets and octets since it was last told, so that their sum is right. Where the kernel does not
    count packets, that some came is told by when it would forget the connection.
    """

    def __init__(self) -> None:
        self._told: dict[bytes, _Told] = {}
        self._look = 0
        self.over = 0

    def of(self, table: Iterable[Connection]) -> Iterator[Traffic]:
        """Yield what is to be told of a table as it is now. Between two looks there should be some seconds."""
        self._look += 1
        self.over = 0
        for traffic, expires_s in table:
            key = _key(traffic)
            told = self._told.get(key)
            if told is not None and _is_same(told.traffic, traffic):
                told.look = self._look
                told.has_moved |= _has_moved(told, traffic, expires_s)
                told.expires_s = expires_s
                if _is_news(told, traffic):
                    yield _since(told.traffic, traffic)
                    told.at, told.traffic, told.has_moved = traffic.at, traffic, False
            elif told is not None or len(self._told) < MAX_CONNECTIONS:
                self._told[key] = _Told(self._look, traffic.at, traffic, expires_s)
                yield traffic
            else:
                self.over += 1
        gone = [key for key, told in self._told.items() if self._look - told.look >= KEPT_LOOKS]
        for key in gone:
            del self._told[key]


def _is_same(told: Traffic, now: Traffic) -> bool:
    """Whether it is still the connection that was told: counts only rise, and an answer stays one."""
    return now.packets >= told.packets and not (told.is_answered and now.is_answered is False)


def _has_moved(told: _Told, now: Traffic, expires_s: int | None) -> bool:
    if now.packets:
        return (now.packets, now.back_packets) != (told.traffic.packets, told.traffic.back_packets)
    # Not counted. Without a packet the time that is left falls from look to look; where it is not told, the hardware
    # has the connection, which the kernel takes back as soon as no packet comes.
    return expires_s is None or told.expires_s is None or expires_s >= told.expires_s


def _is_news(told: _Told, now: Traffic) -> bool:
    if now.is_answered and not told.traffic.is_answered:
        return True
    return told.has_moved and now.at - told.at >= TELL_AGAIN


def _since(told: Traffic, now: Traffic) -> Traffic:
    return replace(
        now,
        packets=now.packets - told.packets,
        octets=max(0, now.octets - told.octets),
        back_packets=max(0, now.back_packets - told.back_packets),
        back_octets=max(0, now.back_octets - told.back_octets),
    )


def _key(traffic: Traffic) -> bytes:
    ports = _PORTS.pack(
        *(-1 if number is None else number for number in (traffic.protocol, traffic.icmp_type)),
        *(-1 if number is None else number for number in (traffic.sender_port, traffic.receiver_port)),
    )
    return traffic.sender.packed + traffic.receiver.packed + ports


_PORTS = struct.Struct("=hhii")
