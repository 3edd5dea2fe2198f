"""An announcer of multicast DNS that can say anything, and a listener for its sightings: for tests on loopback only.

It writes its packets itself, so that it can say what no library would: names that are no names, and bytes that are no
packets.
"""

import asyncio
import socket
import struct
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Self

from pattress.discovery.mdns import MdnsSource
from pattress.model.device import Sighting
from pattress.model.profile import Profile
from pattress.model.source import SourceReport

GROUP, PORT, LOOPBACK = "224.0.0.251", 5353, "127.0.0.1"
DEADLINE_S = 8.0

Name = Sequence[bytes]


def wire_name(labels: Name) -> bytes:
    return b"".join(bytes([len(label)]) + label for label in labels) + b"\0"


def record(owner: Name, type: int, data: bytes, *, ttl_s: int = 120, is_unique: bool = True) -> bytes:
    return wire_name(owner) + struct.pack("!HHIH", type, 0x8001 if is_unique else 1, ttl_s, len(data)) + data


def pointer(owner: Name, target: Name, ttl_s: int = 4500) -> bytes:
    return record(owner, 12, wire_name(target), ttl_s=ttl_s, is_unique=False)


def service(owner: Name, host: Name, port: int = 80) -> bytes:
    return record(owner, 33, struct.pack("!HHH", 0, 0, port) + wire_name(host))


def text(owner: Name, data: bytes) -> bytes:
    return record(owner, 16, data)


def address(host: Name, text_form: str) -> bytes:
    family, type = (socket.AF_INET6, 28) if ":" in text_form else (socket.AF_INET, 1)
    return record(host, type, socket.inet_pton(family, text_form))


def response(*records: bytes) -> bytes:
    return struct.pack("!6H", 0, 0x8400, 0, len(records), 0, 0) + b"".join(records)


def device(label: bytes, type: Name, host: Name, *addresses: str, data: bytes = b"\0") -> bytes:
    """Return a whole announcement of one service."""
    owner = (label, *type)
    return response(
        *(address(host, one) for one in addresses), pointer(type, owner), service(owner, host), text(owner, data)
    )


class RawAnnouncer(asyncio.DatagramProtocol):
    """Sends its packets when a question comes that holds its trigger, and whatever else it is told to."""

    def __init__(self, trigger: Name, packets: Sequence[bytes]) -> None:
        self.trigger = wire_name(trigger)
        self.packets = list(packets)
        self._asked = asyncio.Event()
        self._transport: asyncio.DatagramTransport | None = None

    @classmethod
    @asynccontextmanager
    async def on_loopback(cls, trigger: Name, *packets: bytes) -> AsyncIterator[Self]:
        sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        sock.setsockopt(
            socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, socket.inet_aton(GROUP) + socket.inet_aton(LOOPBACK)
        )
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LOOPBACK))
        sock.bind((GROUP, PORT))  # bound to the group, it takes no unicast datagram from anybody
        loop = asyncio.get_running_loop()
        transport, announcer = await loop.create_datagram_endpoint(lambda: cls(trigger, packets), sock=sock)
        try:
            yield announcer
        finally:
            transport.close()

    def connection_made(self, transport: asyncio.DatagramTransport) -> None:  # type: ignore[override]
        self._transport = transport

    def datagram_received(self, data: bytes, _: object) -> None:
        is_question = len(data) > 12 and not data[2] & 0x80
        if is_question and self.trigger.lower() in data.lower():
            self._asked.set()
            self.say(*self.packets)

    async def question(self) -> None:
        """Wait until the first question has come."""
        async with asyncio.timeout(DEADLINE_S):
            await self._asked.wait()

    def say(self, *packets: bytes) -> None:
        assert self._transport is not None
        for packet in packets:
            self._transport.sendto(packet, (GROUP, PORT))


class Listening:
    """A source that listens, and what it has seen so far of the services of one type."""

    def __init__(self, channel_word: str) -> None:
        self.sightings: list[Sighting] = []
        self.reports: Sequence[SourceReport] = ()
        self._channel_word = channel_word
        self._news = asyncio.Event()

    def add(self, sighting: Sighting) -> None:
        # Other programs of this machine may announce on loopback too.
        if self._channel_word in sighting.channel:
            self.sightings.append(sighting)
            self._news.set()

    async def until(self, is_enough: Callable[[list[Sighting]], object]) -> list[Sighting]:
        try:
            async with asyncio.timeout(DEADLINE_S):
                while not is_enough(self.sightings):
                    self._news.clear()
                    await self._news.wait()
        except TimeoutError:
            raise AssertionError(f"after {DEADLINE_S:g} s there is no more than {self.sightings}") from None
        return self.sightings


@asynccontextmanager
async def listening(
    channel_word: str, profiles: Sequence[Profile] = (), interfaces: Sequence[str] = (LOOPBACK,)
) -> AsyncIterator[Listening]:
    heard, stop = Listening(channel_word), asyncio.Event()
    source = MdnsSource(profiles, interfaces, lambda: datetime.now(UTC), needed=True)
    async with asyncio.TaskGroup() as group:
        task = group.create_task(source.listen(heard.add, stop), name="listen")
        try:
            yield heard
        finally:
            stop.set()
    heard.reports = task.result()
