"""Emulated devices on loopback, in a process of their own so that their work is not counted as ours.

Run as `python -m benchmarks.device_server NETWORK COUNT ANSWER_S [LIMIT_C ...]`, the limits being those that the first
devices report. It prints the port that all of them listen on, each at its own address; when its standard input closes
it prints the most connections that one device had at once, and ends.
A device answers one connection at a time, ANSWER_S after each question.
"""

import asyncio
import contextlib
import errno
import socket
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

from benchmarks.documents import LIMIT_C, bodies

BACKLOG = 4
TRIES = 50  # ports that are free at one address may be taken at another


def address_of(network: str, number: int) -> str:
    """Return the address of the device with this number, counted from 0, in a network such as `127.80`.

    250 devices to each third byte; where the last is full the second byte counts on.
    """
    first, second = network.split(".")
    block, host = divmod(number, 250)
    return f"{first}.{int(second) + block // 250}.{block % 250}.{host + 1}"


@dataclass(slots=True)
class EmulatedDevice:
    """One device: its documents, its one seat, and how many connections it has had at once."""

    answers: dict[str, bytes]
    answer_s: float
    seat: asyncio.Lock = field(default_factory=asyncio.Lock)
    connections: int = 0
    most_connections: int = 0

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer the questions of one connection, once it is its turn."""
        self.connections += 1
        self.most_connections = max(self.most_connections, self.connections)
        try:
            async with self.seat:
                while True:
                    question = await reader.readuntil(b"\r\n\r\n")
                    if self.answer_s:
                        await asyncio.sleep(self.answer_s)
                    writer.write(self.answers[question.split(b" ", 2)[1].decode()])
                    if b"connection: close" in question.lower():
                        break
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            self.connections -= 1
            writer.close()


async def serve(network: str, count: int, answer_s: float, limits_c: Sequence[int]) -> None:
    """Serve until standard input closes."""
    limits = [*limits_c, *[LIMIT_C] * (count - len(limits_c))]
    devices = [EmulatedDevice(_answers(number, limit_c), answer_s) for number, limit_c in enumerate(limits)]
    listeners = _listeners(network, count)
    async with contextlib.AsyncExitStack() as stack:
        for device, listener in zip(devices, listeners, strict=True):
            await stack.enter_async_context(await asyncio.start_server(device.serve, sock=listener))
        print(listeners[0].getsockname()[1], flush=True)
        await asyncio.to_thread(sys.stdin.read)
        print(max(device.most_connections for device in devices), flush=True)


def _answers(number: int, limit_c: int) -> dict[str, bytes]:
    head = "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n"
    return {path: head.format(len(body)).encode() + body for path, body in bodies(number, limit_c).items()}


def _listeners(network: str, count: int) -> list[socket.socket]:
    """Return one listening socket for each device, all on one port."""
    for _ in range(TRIES):
        opened: list[socket.socket] = []
        try:
            for number in range(count):
                port = opened[0].getsockname()[1] if opened else 0
                listener = socket.socket()
                opened.append(listener)
                listener.bind((address_of(network, number), port))
                listener.listen(BACKLOG)
                listener.setblocking(False)
        except OSError as error:
            for one in opened:
                one.close()
            if error.errno != errno.EADDRINUSE:
                raise
        else:
            return opened
    raise RuntimeError(f"no port is free at all of {count} addresses")


if __name__ == "__main__":
    from benchmarks.emulated import allow_open_files

    allow_open_files(2 * int(sys.argv[2]))
    # Ended on purpose by what started it; a connection that is then still open is nobody's loss.
    asyncio.run(serve(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), [int(one) for one in sys.argv[4:]]))
