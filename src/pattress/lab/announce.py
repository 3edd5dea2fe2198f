"""The announcements of the emulated house by mDNS, on loopback and nowhere else.

What belongs here: one responder for the whole house. What does not: what a maker puts into its TXT record. The
library is zeroconf.
"""

import asyncio
import ipaddress
from types import TracebackType
from typing import Any, Self

from zeroconf import ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from pattress.lab.house import Endpoint, ModuleState
from pattress.lab.maker import HttpMaker

LOOPBACK = "127.0.0.1"
GOODBYE_S = 1.5


class Announcer:
    """One mDNS responder with the services of every module that is there."""

    def __init__(self) -> None:
        self._responder = AsyncZeroconf(interfaces=[LOOPBACK])
        self._services: dict[str, ServiceInfo] = {}
        self._sending: dict[str, asyncio.Future[Any]] = {}

    async def __aenter__(self) -> Self:
        # Cancelled while it starts, the library would never close its sockets: so it starts first, then it ends.
        starting = asyncio.create_task(self._responder.zeroconf.async_wait_for_start(), name="mDNS responder starts")
        try:
            await asyncio.shield(starting)
        except BaseException:
            await asyncio.wait({starting})
            await self._responder.async_close()
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            async with asyncio.timeout(GOODBYE_S):
                for sending in self._sending.values():
                    sending.cancel()
                await asyncio.gather(*self._sending.values(), return_exceptions=True)
                await self._responder.async_unregister_all_services()
        except TimeoutError:
            pass  # a house that ends without a goodbye ends like a house without power
        finally:
            await self._responder.async_close()

    async def announce(self, maker: HttpMaker, state: ModuleState, endpoint: Endpoint) -> None:
        """Announce a module, or announce it anew where what it says has changed."""
        service = service_of(maker, state, endpoint)
        before = self._services.get(service.name)
        self._services[service.name] = service
        if before is None:
            # The names hold serial numbers, so nobody is asked first whether they are free.
            said = await self._responder.async_register_service(service, cooperating_responders=True)
        elif (before.text, before.port) != (service.text, service.port):
            await self._sent(service.name)
            said = await self._responder.async_update_service(service)
        else:
            return
        self._sending[service.name] = asyncio.ensure_future(said)

    async def withdraw(self, maker: HttpMaker, state: ModuleState) -> None:
        """Say goodbye for a module, if it was announced."""
        service = self._services.pop(f"{maker.instance(state.module)}.{maker.service_type}", None)
        if service is not None:
            await self._sent(service.name)
            await (await self._responder.async_unregister_service(service))

    async def fall_silent(self, maker: HttpMaker, state: ModuleState) -> None:
        """Answer for a module no more, and say no goodbye, as one does that has lost its power."""
        service = self._services.pop(f"{maker.instance(state.module)}.{maker.service_type}", None)
        if service is not None:
            sending = self._sending.pop(service.name)
            sending.cancel()
            await asyncio.gather(sending, return_exceptions=True)
            self._responder.zeroconf.registry.async_remove(service)

    async def _sent(self, name: str) -> None:
        """Wait until a module's announcement, which is said several times, has been said: a goodbye comes after it."""
        sending = self._sending.pop(name, None)
        if sending is not None:
            await sending


def service_of(maker: HttpMaker, state: ModuleState, endpoint: Endpoint) -> ServiceInfo:
    """Return a module's service record."""
    host = state.module.serial.lower().replace("_", "-")
    return ServiceInfo(
        maker.service_type,
        f"{maker.instance(state.module)}.{maker.service_type}",
        port=endpoint.port,
        properties=dict(maker.txt(state)),
        server=f"{host}.local.",
        addresses=[ipaddress.ip_address(endpoint.host).packed],
    )
