"""The emulated house, running: `async with EmulatedHouse(...) as house`.

What belongs here: bringing the parts up and down in order, and switching faults. What does not: the parts.
"""

import asyncio
import contextlib
import functools
import random
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Self

from pattress.lab.announce import Announcer
from pattress.lab.broker import embedded_broker
from pattress.lab.expected import Expected, Fault, expected_findings
from pattress.lab.faults import ALL_FAULTS, DEMO_FAULTS, FAULTS
from pattress.lab.flow_messages import Flow
from pattress.lab.ground import find_ground, free_udp_port, listener, only_house
from pattress.lab.guards import Guard, guard_of
from pattress.lab.house import Circumstances, Endpoint, Ground, LabModule, ModuleState, state_of
from pattress.lab.http_module import BACKLOG, HttpModule
from pattress.lab.larkspur_mill import double, larkspur_mill, stranger
from pattress.lab.makers import HTTP_MAKERS, MQTT_MAKERS
from pattress.lab.mqtt_modules import MqttModules
from pattress.lab.router import flows_of
from pattress.model.errors import PattressError, UsageError

BROKER_USER = "auditor"
DELAY_S = (0.04, 0.15)  # what modules behind wall plates take for an answer: common practice
SEED = 1_883


@dataclass(frozen=True, slots=True, kw_only=True)
class ExternalBroker:
    """A broker that runs already, and how the modules show themselves to it."""

    endpoint: Endpoint
    user: str | None = None
    secret: str | None = field(default=None, repr=False)


class EmulatedHouse:
    """Larkspur Mill, with its modules on loopback.

    Args:
        faults: Names of the faults that are on from the start.
        delay_s: How long an answer takes, in seconds: from and to, drawn anew for each.
        broker: A broker that runs already; None starts one in this process (extra `demo`).
        ground: Where it stands; None finds out what this machine allows.
        wait_s: How long to wait for another house on this machine to end.

    Attributes:
        modules: Every module of the plan, by its point.
        broker: Where the broker of the house is.
        collector: Where the router of the house sends its flow export to.
        broker_user: The user that it lets in, None where it asks for none.
        broker_secret: That user's secret.
        secrets: The secret of each maker's modules, made anew for each house.
    """

    def __init__(
        self,
        *,
        faults: Iterable[str] = DEMO_FAULTS,
        delay_s: tuple[float, float] = DELAY_S,
        broker: ExternalBroker | None = None,
        ground: Ground | None = None,
        wait_s: float = 0.0,
    ) -> None:
        self.ground = ground or find_ground()
        self.broker = Endpoint("", 0)
        self.collector = Endpoint(self.ground.house_server, free_udp_port(self.ground.house_server))
        self.modules: Mapping[str, LabModule] = {}
        self.secrets: Mapping[str, str] = {maker: secrets.token_urlsafe(12) for maker in HTTP_MAKERS}
        self.broker_user = BROKER_USER if broker is None else broker.user
        self.broker_secret = secrets.token_urlsafe(12) if broker is None else broker.secret
        self._external = broker
        self._faults = {_fault(name, self.ground).name for name in faults}
        self._delay_s = delay_s
        self._random = random.Random(SEED)  # noqa: S311 - delays, and the same ones in each run
        self._wait_s = wait_s
        self._everybody: tuple[LabModule, ...] = ()
        self._states: Mapping[str, ModuleState] = {}
        self._guards: dict[str, Guard] = {}
        self._serving: dict[str, tuple[HttpModule, asyncio.Task[None]]] = {}
        self._life: asyncio.Task[None] | None = None
        self._stop = asyncio.Event()
        self._switching = asyncio.Lock()

    async def __aenter__(self) -> Self:
        # The house has a task of its own, so that it does not matter which task enters and which one leaves.
        is_up: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._life = asyncio.create_task(self._live(is_up), name="emulated house")
        try:
            await asyncio.wait({self._life, is_up}, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            await self._end_early(self._life)
            raise
        if not is_up.done():
            await self._life
        return self

    async def __aexit__(self, *_: object) -> None:
        self._stop.set()
        if self._life is not None:
            await self._life

    @property
    def addresses(self) -> Mapping[str, Endpoint]:
        """Where each module is that answers over HTTP, by its point, or its serial where it has none."""
        return {title: module.endpoint for title, (module, _) in sorted(self._serving.items())}

    @property
    def faults(self) -> frozenset[str]:
        """The names of the faults that are on."""
        return frozenset(self._faults)

    @property
    def expected(self) -> frozenset[Expected]:
        """What an audit by the policy `isolated-house` must find now, besides what is met."""
        title = next(_instance(module) for module in self._everybody if module.point is None)
        return expected_findings((FAULTS[name] for name in sorted(self._faults)), self.modules, title)

    def state(self, title: str) -> ModuleState:
        """Return how a module is now, by its point, or its serial where it has none."""
        return self._states[title]

    def flows(self, began_at: datetime, ended_at: datetime) -> list[Flow]:
        """Return what the router of the house saw of its modules between two moments, as they are now."""
        return flows_of(self._states.values(), self.broker, self.ground, began_at, ended_at)

    def healthy_flows(self, began_at: datetime, ended_at: datetime) -> list[Flow]:
        """Return what the router saw of the modules of the plan when nothing was wrong with any of them."""
        states = [state_of(module) for module in self.modules.values()]
        return flows_of(states, self.broker, self.ground, began_at, ended_at)

    async def switch(self, fault: str, on: bool) -> None:
        """Switch a fault on or off while the house runs; it shows at the next answer and is announced at once."""
        name = _fault(fault, self.ground).name
        async with self._switching:
            self._faults = self._faults | {name} if on else self._faults - {name}
            await self._settle()

    async def _end_early(self, life: asyncio.Task[None]) -> None:
        life.cancel()
        await asyncio.wait({life})

    async def _live(self, is_up: asyncio.Future[None]) -> None:
        async with only_house(wait_s=self._wait_s), self._the_broker() as self.broker:
            where = Circumstances(ground=self.ground, broker=self.broker)
            planned = larkspur_mill(where)
            self.modules = {module.title: module for module in planned}
            doubled = next(fault.point for fault in ALL_FAULTS if fault.joins == "double")
            self._everybody = (*planned, stranger(where), double(self.modules[doubled or ""], where))
            self._states = self._new_states()
            async with self._mqtt_modules() as self._mqtt, Announcer() as self._announcer:
                try:
                    await self._serve(is_up)
                except* PattressError as group:
                    raise group.exceptions[0] from None

    async def _serve(self, is_up: asyncio.Future[None]) -> None:
        async with asyncio.TaskGroup() as self._tasks:
            answering = self._tasks.create_task(self._mqtt.answer(), name="emulated modules on the broker")
            try:
                await self._settle()
                is_up.set_result(None)
                await self._stop.wait()
            finally:
                answering.cancel()
                for _, task in self._serving.values():
                    task.cancel()

    def _the_broker(self) -> contextlib.AbstractAsyncContextManager[Endpoint]:
        if self._external is not None:
            return contextlib.nullcontext(self._external.endpoint)
        return embedded_broker(self.ground.house_server, user=BROKER_USER, secret=self.broker_secret or "")

    def _mqtt_modules(self) -> MqttModules:
        credentials = None if self.broker_user is None else (self.broker_user, self.broker_secret or "")
        return MqttModules(self.broker, credentials, MQTT_MAKERS, self._states_on_broker, self._pause)

    def _states_on_broker(self) -> list[ModuleState]:
        return [state for state in self._states.values() if state.module.maker in MQTT_MAKERS]

    async def _pause(self) -> None:
        await asyncio.sleep(self._random.uniform(*self._delay_s))

    def _new_states(self) -> Mapping[str, ModuleState]:
        on = [FAULTS[name] for name in sorted(self._faults)]
        joined = {fault.joins for fault in on}
        states = {}
        for module in self._everybody:
            twists = tuple(fault.twist for fault in on if fault.point is not None and fault.point == module.point)
            joins = None if module.point is not None else "double" if self._is_double(module) else "stranger"
            states[module.title] = state_of(module, twists, is_present=joins is None or joins in joined)
        return states

    def _is_double(self, module: LabModule) -> bool:
        return any(module.mac == planned.mac for planned in self.modules.values())

    async def _settle(self) -> None:
        """Bring servers and announcements to the faults that are on."""
        self._states = self._new_states()
        for title, state in self._states.items():
            maker = HTTP_MAKERS.get(state.module.maker)
            if maker is None:
                continue
            if state.is_present:
                await self._announcer.announce(maker, state, self._served(title).endpoint)
            else:
                await self._announcer.withdraw(maker, state)
                await self._take_away(title)
        await self._mqtt.refresh()

    def _served(self, title: str) -> HttpModule:
        if title not in self._serving:
            module = self._states[title].module
            maker = HTTP_MAKERS[module.maker]
            guard = self._guards.get(title)
            if guard is None:
                guard = guard_of(
                    maker.guard(module.kind), self.secrets[module.maker], header=maker.header, realm=module.serial
                )
                self._guards[title] = guard
            opened = listener(self.ground, module.number, BACKLOG)
            server = HttpModule(
                maker=maker,
                guard=guard,
                state=functools.partial(self.state, title),
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


def _instance(module: LabModule) -> str:
    return HTTP_MAKERS[module.maker].instance(module)


def _fault(name: str, ground: Ground) -> Fault:
    fault = FAULTS.get(name)
    if fault is None:
        raise UsageError(
            f"there is no fault {name!r}", where="the emulated house", next_step=f"Use one of: {', '.join(FAULTS)}."
        )
    if fault.joins == "double" and ground.prefix is None:
        raise UsageError(
            f"the fault {name!r} needs an address for each module",
            where="the emulated house",
            next_step="This system gives loopback one address only; leave it out.",
        )
    return fault
