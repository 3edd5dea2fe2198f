"""One module that answers over HTTP: a tiny server with room for one connection.

What belongs here: sockets, patience, and who may ask. What does not: what is answered (`makers`).
"""

import asyncio
import contextlib
import socket
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from aiohttp import web
from aiohttp.web_protocol import RequestHandler

from pattress.lab.guards import Guard
from pattress.lab.house import Endpoint, ModuleState
from pattress.lab.maker import Asked, HttpMaker, Refused, encoded

KEEP_ALIVE_S = 1.0  # a client that forgets its connection does not keep the next one waiting for longer
STOP_S = 0.2
BACKLOG = 4  # connections that wait for the one that is served

Pause = Callable[[], Awaitable[None]]
Answer = Callable[[web.BaseRequest], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpModule:
    """One module's server, listening at `endpoint`. `state` is asked each time, so that a fault shows at once."""

    maker: HttpMaker
    guard: Guard
    state: Callable[[], ModuleState]
    pause: Pause
    listener: socket.socket
    endpoint: Endpoint

    async def serve(self) -> None:
        """Serve one connection after the other until cancelled. The listening socket is closed at the end."""
        loop = asyncio.get_running_loop()
        server = _OneSeat(self._answer, access_log=None, keepalive_timeout=KEEP_ALIVE_S)
        try:
            while True:
                connection, _ = await loop.sock_accept(self.listener)
                connection.setblocking(False)
                if self.state().is_silent:
                    await _ignore(connection)
                else:
                    await self._serve_one(server, connection)
        finally:
            self.listener.close()
            await server.shutdown(STOP_S)

    async def _serve_one(self, server: "_OneSeat", connection: socket.socket) -> None:
        server.is_free.clear()
        transport, _ = await asyncio.get_running_loop().connect_accepted_socket(server, connection)
        try:
            await server.is_free.wait()
        finally:
            transport.close()

    async def _answer(self, request: web.BaseRequest) -> web.StreamResponse:
        body = await request.read()
        await self.pause()
        asked = Asked(method=request.method, path=request.path, body=body)
        state = self.state()
        routed = self.maker.route(asked)
        may_all_ask = not isinstance(routed, Refused) and routed.document in self.maker.open_documents
        if not may_all_ask:
            refusal = self.guard.refusal(request.headers, method=request.method, target=request.path_qs)
            if refusal is not None:
                return web.Response(status=401, headers=refusal, text="no")
        if isinstance(routed, Refused):
            return web.json_response(routed.body, status=routed.status)
        document = self.maker.documents(state)[routed.document]
        is_rubbish = state.rubbish_document == routed.document
        return web.Response(body=encoded(routed.wrap(document), is_rubbish=is_rubbish), content_type="application/json")


class _OneSeat(web.Server):
    """A server that says when its one connection is gone. The next one waits in the backlog until then."""

    def __init__(self, answer: Answer, **settings: Any) -> None:
        super().__init__(answer, **settings)
        self.is_free = asyncio.Event()

    def connection_lost(self, handler: RequestHandler, exc: BaseException | None = None) -> None:
        super().connection_lost(handler, exc)
        self.is_free.set()


async def _ignore(connection: socket.socket) -> None:
    """Take whatever comes and say nothing, until the other side leaves."""
    loop = asyncio.get_running_loop()
    with connection, contextlib.suppress(OSError):
        while await loop.sock_recv(connection, 4_096):
            pass
