"""How long a device's connection is held."""

import asyncio

from pattress.model.profile import HttpGet
from pattress.reading.http import HttpLink
from raw_server import LOOPBACK
from unit.reading.stand import REACH, target

ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}"
SOON_S = 1.5  # several times what it takes, and less than a module's own patience


async def test_a_device_is_let_go_soon_after_its_last_answer() -> None:
    is_let_go = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(ANSWER)
        await reader.read()
        is_let_go.set()
        writer.close()

    server = await asyncio.start_server(serve, LOOPBACK, 0)
    async with server, HttpLink(REACH, answer_s=5) as link:
        port = server.sockets[0].getsockname()[1]
        body = await link.fetch(target(port), (LOOPBACK, port), HttpGet(path="/facts"), with_credentials=False)

        async with asyncio.timeout(SOON_S):
            await is_let_go.wait()

    assert body == b"{}"
