"""The emulated house, running: `async with EmulatedHouse(...) as house`.

What belongs here: bringing the parts up and down in order, and switching faults. What does not: the parts.
"""

import asyncio
import contextlib
import random
import secrets
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Self

from pattress.lab.announce import Announcer
from pattress.lab.broker import embedded_broker
from pattress.lab.clock import HouseClock
from pattress.lab.expected import Expected, Fault, expected_findings, hazard_findings
from pattress.lab.faults import ALL_FAULTS, DEMO_FAULTS, FAULTS
from pattress.lab.flow_messages import Flow
from pattress.lab.ground import find_ground, free_udp_port, only_house
from pattress.lab.house import Circumstances, Endpoint, Ground, LabModule, ModuleState, state_of
from pattress.lab.larkspur_mill import double, larkspur_mill, stranger
from pattress.lab.makers import HTTP_MAKERS, MQTT_MAKERS
from pattress.lab.mqtt_modules import MqttModules
from pattress.lab.router import flows_of
from pattress.lab.serving import HttpServing
from pattress.lab.wiring import Wiring
from pattress.lab.world import World
from pattress.lab.worlds import Automation, Worlds
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
        clock: What time it is in the house; None is a clock of its own, which runs at 1 until it is told otherwise.
        unpowered: Points whose modules have never had power.
        wiring: What the plan says of circuits and drives, by point; nothing where it is not given.

    Attributes:
        modules: Every module of the plan, by its point.
        wiring: What the plan says of circuits and drives, by point.
        clock: What time it is in the house.
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
        clock: HouseClock | None = None,
        unpowered: Collection[str] = (),
        wiring: Mapping[str, Wiring] | None = None,
    ) -> None:
        self.wiring: Mapping[str, Wiring] = wiring or {}
        self.clock = clock or HouseClock()
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
        self._unpowered = unpowered
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
        return self._http.endpoints

    @property
    def faults(self) -> frozenset[str]:
        """The names of the faults that are on."""
        return frozenset(self._faults)

    @property
    def expected(self) -> frozenset[Expected]:
        """What an audit by the policy `isolated-house` must find now, besides what is met."""
        title = next(_instance(module) for module in self._everybody if module.point is None)
        on = [FAULTS[name] for name in sorted(self._faults)]
        return expected_findings(on, self.modules, title) | hazard_findings(on, self.modules, self.wiring)

    def state(self, title: str) -> ModuleState:
        """Return how a module is now, by its point, or its serial where it has none."""
        return self._worlds.state(title)

    def world(self, title: str) -> World:
        """Return the physical world at a box, by its point, or its module's serial: there a person can act."""
        return self._worlds[title]

    def automate(self, point: str, number: int, channel: str, *, to: str | None = None) -> None:
        """Let an input drive a channel (`output.1`, `dimmer.1`, `shutter`) of its own module, or of another point's."""
        self._worlds.automations[point, number] = Automation(title=to or point, channel=channel)

    def forget_automation(self, point: str, number: int) -> None:
        """Let an input drive nothing."""
        self._worlds.automations.pop((point, number), None)

    async def settled(self) -> None:
        """Return when servers, announcements and the broker have followed all that was done until now."""
        async with self._switching:
            await self._settle()

    async def after(self, seconds: float) -> None:
        """Return when so many seconds have gone by in the house, at its present speed, and all has followed."""
        await asyncio.sleep(self.clock.real_s(seconds))
        await self.settled()

    def flows(self, began_at: datetime, ended_at: datetime) -> list[Flow]:
        """Return what the router of the house saw of its modules between two moments, as they are now."""
        states = [self.state(title) for title in self._states]
        return flows_of(states, self.broker, self.ground, began_at, ended_at)

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
            self._worlds = Worlds(self._states, self._unpowered, lambda title: self._states[title], self.clock)
            async with self._mqtt_modules() as self._mqtt, Announcer() as self._announcer:
                try:
                    await self._serve(is_up)
                except* PattressError as group:
                    raise group.exceptions[0] from None

    async def _serve(self, is_up: asyncio.Future[None]) -> None:
        async with asyncio.TaskGroup() as tasks:
            self._http = HttpServing(self.ground, self._announcer, tasks, self.secrets, self.state, self._pause)
            answering = tasks.create_task(self._mqtt.answer(), name="emulated modules on the broker")
            following = tasks.create_task(self._follow_worlds(), name="emulated world")
            try:
                await self._settle()
                is_up.set_result(None)
                await self._stop.wait()
            finally:
                answering.cancel()
                following.cancel()
                self._http.stop()

    async def _follow_worlds(self) -> None:
        """Let servers, announcements and the broker follow what happens in the worlds, by hand or by itself."""
        while True:
            await self._worlds.stirred(reports=any(map(self._worlds.is_awake, self._titles_on_broker())))
            await self.settled()

    def _titles_on_broker(self) -> list[str]:
        return [title for title, state in self._states.items() if state.module.maker in MQTT_MAKERS]

    def _the_broker(self) -> contextlib.AbstractAsyncContextManager[Endpoint]:
        if self._external is not None:
            return contextlib.nullcontext(self._external.endpoint)
        return embedded_broker(self.ground.house_server, user=BROKER_USER, secret=self.broker_secret or "")

    def _mqtt_modules(self) -> MqttModules:
        credentials = None if self.broker_user is None else (self.broker_user, self.broker_secret or "")
        return MqttModules(self.broker, credentials, MQTT_MAKERS, self._states_on_broker, self._pause)

    def _states_on_broker(self) -> list[ModuleState]:
        return [self.state(title) for title in self._titles_on_broker()]

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
        for title in self._states:
            await self._http.follow(self.state(title))
        await self._mqtt.refresh()


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
