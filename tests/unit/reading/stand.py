"""A bench for tests of reading: one kind of device that no maker makes, servers on loopback, and a reader for them."""

import asyncio
import ipaddress
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from aiohttp import web

from pattress.model.profile import Access, Document, HttpGet, Profile, Request, SettingSource
from pattress.model.site import Limits
from pattress.reading.http import HttpLink
from pattress.reading.reader import Reader
from pattress.reading.target import Target
from pattress.wire.mqtt import MqttLink
from pattress.wire.reach import Reach

LOOPBACK = "127.0.0.1"
MAC = "02:00:5e:00:53:01"
OTHER_MAC = "02:00:5e:00:53:99"
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
REACH = Reach(networks=(ipaddress.ip_network("127.0.0.0/8"),), own=frozenset())

FACTS = {"unit": {"hw": MAC, "runs": "1.4.0"}}
SHAPE = {"lines": [{"wake": "dark"}]}

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]
Connection = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


def document(id: str, request: Request | None = None, **more: Any) -> Document:
    return Document(id=id, request=request or HttpGet(path=f"/{id}"), **more)


OPEN_FACTS = document("facts", is_open=True)
CLOSED_SHAPE = document("shape")
SETTINGS = (
    SettingSource(name="mac", document="facts", at="unit.hw"),
    SettingSource(name="firmware.version", document="facts", at="unit.runs"),
    SettingSource(
        name="output.1.at_power_up", document="shape", at="lines[0].wake", values={"dark": "off", "lit": "on"}
    ),
)


def profile(*documents: Document, settings: Sequence[SettingSource] = SETTINGS, **more: Any) -> Profile:
    documents = documents or (OPEN_FACTS, CLOSED_SHAPE)
    ids = {one.id for one in documents}
    return Profile(
        id="tern-d2",
        maker="Tern",
        model="D2",
        module_class="dual-relay",
        documents=documents,
        settings=tuple(one for one in settings if one.document is None or one.document in ids),
        **more,
    )


def target(*ports: int, kind: Profile | None = None, access: Access | None = None, **more: Any) -> Target:
    """Return a device of the plan at these ports of loopback, in this order."""
    kind = kind or (profile() if access is None else profile(access=access))
    whole: dict[str, Any] = {
        "device": f"mac:{MAC}",
        "mac": MAC,
        "serial": None,
        "name": "tern one",
        "addresses": tuple((LOOPBACK, port) for port in ports),
        "is_planned": True,
    }
    return Target(profile=kind, **(whole | more))


@asynccontextmanager
async def open_reader(
    *links: MqttLink, ca_file: Path | None = None, reach: Reach = REACH, **limits: float
) -> AsyncIterator[Reader]:
    bounds = Limits(**({"answer_s": 5.0, "device_s": 20.0} | limits))  # type: ignore[arg-type]
    async with HttpLink(reach, answer_s=bounds.answer_s, ca_file=ca_file) as http:
        yield Reader(http, {link.broker.name: link for link in links}, bounds, lambda: NOON)


@asynccontextmanager
async def serving(routes: Mapping[str, Handler] | None = None, *, tls: Any = None) -> AsyncIterator[int]:
    """Serve paths of a device, by default its two documents as they should be, and yield the port."""
    if routes is None:
        routes = {"/facts": say(FACTS), "/shape": say(SHAPE)}
    application = web.Application()
    for path, handler in routes.items():
        application.router.add_route("*", path, _as_function(handler))
    runner = web.AppRunner(application, access_log=None)
    await runner.setup()
    try:
        site = web.TCPSite(runner, LOOPBACK, 0, ssl_context=tls)
        await site.start()
        yield runner.addresses[0][1]
    finally:
        await runner.cleanup()


def _as_function(handler: Handler) -> Handler:
    """Return a handler that may be an object as the plain function that the library wants."""

    async def call(request: web.Request) -> web.StreamResponse:
        return await handler(request)

    return call


def say(content: object, **more: Any) -> Handler:
    async def handler(request: web.Request) -> web.StreamResponse:
        return web.json_response(content, **more)

    return handler


@asynccontextmanager
async def listening(serve: Connection, *, tls: Any = None) -> AsyncIterator[int]:
    """Serve raw connections and yield the port. In the end every connection is dropped."""
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
        await asyncio.sleep(0)  # the aborted transports say goodbye to their protocols


@asynccontextmanager
async def all_of(*contexts: Any) -> AsyncIterator[list[Any]]:
    """Enter several contexts at once and yield what each gave."""
    async with AsyncExitStack() as stack:
        yield [await stack.enter_async_context(one) for one in contexts]


async def request_head(reader: asyncio.StreamReader) -> str:
    """Read one request up to its empty line, and its body where it has one; return the head."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("ascii")
    for line in head.splitlines():
        name, _, value = line.partition(":")
        if name.lower() == "content-length":
            await reader.readexactly(int(value))
    return head


def answer(body: bytes, *headers: str, status: str = "200 OK") -> bytes:
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers]
    return "\r\n".join([*head, "", ""]).encode("ascii") + body
