"""A server on loopback that a test writes byte by byte, and that leaves nothing behind."""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

LOOPBACK = "127.0.0.1"

Connection = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def listening(serve: Connection, *, tls: ssl.SSLContext | None = None) -> AsyncIterator[int]:
    """Serve connections and yield the port. A connection is dropped when `serve` is done with it, and in the end."""
    tasks: set[asyncio.Task[None]] = set()

    async def connection(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            await serve(reader, writer)
        except (ConnectionError, asyncio.IncompleteReadError, asyncio.CancelledError):
            pass  # the client has what it wanted, or the test is over
        finally:
            writer.transport.abort()

    server = await asyncio.start_server(connection, LOOPBACK, 0, ssl=tls)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0)  # the dropped transports say goodbye to their protocols


async def silence(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Take what comes and say nothing."""
    while await reader.read(65536):
        pass


async def request_head(reader: asyncio.StreamReader) -> str:
    """Read one HTTP request up to its empty line, and its body where it has one; return the head."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("ascii")
    for line in head.splitlines():
        name, _, value = line.partition(":")
        if name.lower() == "content-length":
            await reader.readexactly(int(value))
    return head


def answer(body: bytes, *headers: str, status: str = "200 OK") -> bytes:
    """Return a whole HTTP answer."""
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers]
    return "\r\n".join([*head, "", ""]).encode("ascii") + body
