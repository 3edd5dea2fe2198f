"""The modules of the emulated house that answer over HTTP: each served and announced as long as it is there.

What belongs here: which servers run, and what is said of them by mDNS. What does not: one server (`http_module`), and
how a module is (`run`).
"""

import asyncio
import functools
from collections.abc import Callable, Mapping

from pattress.lab.announce import Announcer
from pattress.lab.ground import listener
from pattress.lab.guards import Guard, guard_of
from pattress.lab.house import Endpoint, Ground, ModuleState
from pattress.lab.http_module import BACKLOG, HttpModule, Pause
from pattress.lab.makers import HTTP_MAKERS


class HttpServing:
    """The servers of the modules. They are tasks of `tasks`, and end when it is cancelled or `stop` is called."""

    def __init__(
        self,
        ground: Ground,
        announcer: Announcer,
        tasks: asyncio.TaskGroup,
        secrets: Mapping[str, str],
        state: Callable[[str], ModuleState],
        pause: Pause,
    ) -> None:
        self._ground = ground
        self._announcer = announcer
        self._tasks = tasks
        self._secrets = secrets
        self._state = state
        self._pause = pause
        self._guards: dict[str, Guard] = {}
        self._serving: dict[str, tuple[HttpModule, asyncio.Task[None]]] = {}

    @property
    def endpoints(self) -> Mapping[str, Endpoint]:
        """Where each module is that is served, by its title."""
        return {title: module.endpoint for title, (module, _) in sorted(self._serving.items())}

    async def follow(self, state: ModuleState) -> None:
        """Serve and announce a module that is there, and take away one that is not. Others are none of this house."""
        maker, title = HTTP_MAKERS.get(state.module.maker), state.module.title
        if maker is None:
            return
        if state.is_present and state.is_powered:
            await self._announcer.announce(maker, state, self._served(state).endpoint)
            return
        if state.is_present:
            await self._announcer.fall_silent(maker, state)
        else:
            await self._announcer.withdraw(maker, state)
        await self._take_away(title)

    def stop(self) -> None:
        """End every server."""
        for _, task in self._serving.values():
            task.cancel()

    def _served(self, state: ModuleState) -> HttpModule:
        module = state.module
        title = module.title
        if title not in self._serving:
            maker = HTTP_MAKERS[module.maker]
            if title not in self._guards:
                self._guards[title] = guard_of(
                    maker.guard(module.kind), self._secrets[module.maker], header=maker.header, realm=module.serial
                )
            opened = listener(self._ground, module.number, BACKLOG)
            server = HttpModule(
                maker=maker,
                guard=self._guards[title],
                state=functools.partial(self._state, title),
                pause=self._pause,
                listener=opened,
                endpoint=Endpoint(*opened.getsockname()[:2]),
            )
            task = self._tasks.create_task(server.serve(), name=f"emulated module {title}")
            self._serving[title] = (server, task)
        return self._serving[title][0]

    async def _take_away(self, title: str) -> None:
        server = self._serving.pop(title, None)
        if server is not None:
            server[1].cancel()
            await asyncio.wait({server[1]})
