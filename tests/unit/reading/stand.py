"""A bench for tests of reading: one kind of device that no maker makes, servers on loopback, and a reader for them."""

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
from raw_server import LOOPBACK

MAC = "02:00:5e:00:53:01"
OTHER_MAC = "02:00:5e:00:53:99"
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
REACH = Reach(networks=(ipaddress.ip_network("127.0.0.0/8"),), own=frozenset())

FACTS = {"unit": {"hw": MAC, "runs": "1.4.0"}}
SHAPE = {"lines": [{"wake": "dark"}]}

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


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
async def serving(
    routes: Mapping[str, Handler] | None = None, *, tls: Any = None, host: str = LOOPBACK
) -> AsyncIterator[int]:
    """Serve paths of a device, by default its two documents as they should be, and yield the port."""
    if routes is None:
        routes = {"/facts": say(FACTS), "/shape": say(SHAPE)}
    application = web.Application()
    for path, handler in routes.items():
        application.router.add_route("*", path, _as_function(handler))
    runner = web.AppRunner(application, access_log=None)
    await runner.setup()
    try:
        site = web.TCPSite(runner, host, 0, ssl_context=tls)
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
async def all_of(*contexts: Any) -> AsyncIterator[list[Any]]:
    """Enter several contexts at once and yield what each gave."""
    async with AsyncExitStack() as stack:
        yield [await stack.enter_async_context(one) for one in contexts]
