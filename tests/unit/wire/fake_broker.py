"""A broker on loopback that does what no real one would: it refuses subscriptions, and sends what it likes.

It speaks as much of MQTT 3.1.1 as that needs, packet by packet, and keeps nothing.
"""

import asyncio
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from raw_server import listening

CONNECT, CONNACK, PUBLISH, SUBSCRIBE, SUBACK, UNSUBSCRIBE, UNSUBACK, PINGREQ, PINGRESP = 1, 2, 3, 8, 9, 10, 11, 12, 13
REFUSED = 0x80  # MQTT 3.1.1 section 3.9.3


@dataclass
class FakeBroker:
    """What it does: answers to CONNECT and SUBSCRIBE (None is silence), and packets to send after a SUBSCRIBE."""

    port: int = 0
    connect_code: int = 0
    subscribe_code: int | None = 0
    sends: list[bytes] = field(default_factory=list)
    connections: int = 0
    subscribed: list[str] = field(default_factory=list)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer one client until it goes."""
        self.connections += 1
        while True:
            kind, body = await _packet(reader)
            if kind == CONNECT:
                writer.write(bytes([CONNACK << 4, 2, 0, self.connect_code]))
            elif kind == SUBSCRIBE:
                self.subscribed.append(body[4:-1].decode())
                if self.subscribe_code is not None:
                    writer.write(bytes([SUBACK << 4, 3]) + body[:2] + bytes([self.subscribe_code]))
                for packet in self.sends:
                    writer.write(packet)
            elif kind == UNSUBSCRIBE:
                writer.write(bytes([UNSUBACK << 4, 2]) + body[:2])
            elif kind == PINGREQ:
                writer.write(bytes([PINGRESP << 4, 0]))


def publish(topic: bytes, payload: bytes, *, is_retained: bool = False) -> bytes:
    """Return a PUBLISH packet of QoS 0 (MQTT 3.1.1 section 3.3); the topic need not be UTF-8."""
    body = struct.pack("!H", len(topic)) + topic + payload
    return bytes([PUBLISH << 4 | is_retained]) + _length(len(body)) + body


@asynccontextmanager
async def fake_broker(broker: FakeBroker) -> AsyncIterator[FakeBroker]:
    """Let it listen on a free port of loopback."""
    async with listening(broker.serve) as broker.port:
        yield broker


async def _packet(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    first = (await reader.readexactly(1))[0]
    length, shift = 0, 0
    while True:  # MQTT 3.1.1 section 2.2.3
        digit = (await reader.readexactly(1))[0]
        length |= (digit & 0x7F) << shift
        shift += 7
        if not digit & 0x80:
            return first >> 4, await reader.readexactly(length)


def _length(number: int) -> bytes:
    encoded = bytearray()
    while True:
        number, digit = divmod(number, 128)
        encoded.append(digit | (0x80 if number else 0))
        if not number:
            return bytes(encoded)
