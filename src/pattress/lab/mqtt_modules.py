"""The modules that live on the broker: one client speaks for all of them.

What belongs here: the connection, retained topics kept up to date, questions handed to the makers. What does not: the
broker itself, and what is said (`makers`). The library (paho-mqtt) owns the socket and its thread.
"""

import asyncio
import secrets
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Self

from paho.mqtt.client import Client, MQTTMessage, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion

from pattress.lab.house import Endpoint, ModuleState
from pattress.lab.http_module import Pause
from pattress.lab.maker import MqttMaker, encoded
from pattress.model.errors import BrokerError

CONNECT_S = 5.0
PUBLISH_S = 5.0
MAX_QUESTIONS = 64  # waiting at once; 60 modules asked once each, and what is more is dropped as a small device does
MAX_QUESTION_BYTES = 1_024  # so that 64 of them are 64 KiB

Credentials = tuple[str, str]
States = Callable[[], Iterable[ModuleState]]


class MqttModules:
    """The modules that live on the broker. `states` is asked at each question, so that a fault shows at once."""

    def __init__(
        self,
        broker: Endpoint,
        credentials: Credentials | None,
        makers: Mapping[str, MqttMaker],
        states: States,
        pause: Pause,
    ) -> None:
        self._broker = broker
        self._makers = makers
        self._states = states
        self._pause = pause
        self._loop = asyncio.get_running_loop()
        self._ready: asyncio.Future[str | None] = self._loop.create_future()
        self._questions: asyncio.Queue[tuple[str, bytes]] = asyncio.Queue(MAX_QUESTIONS)
        self._kept: dict[str, bytes] = {}
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=f"emulated-{secrets.token_hex(6)}")
        if credentials is not None:
            self._client.username_pw_set(*credentials)
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_message = self._on_message
        self._client.on_subscribe = self._on_subscribe

    async def __aenter__(self) -> Self:
        self._client.connect_async(self._broker.host, self._broker.port)
        self._client.loop_start()
        try:
            async with asyncio.timeout(CONNECT_S):
                failure = await self._ready
        except TimeoutError:
            failure = f"no answer within {CONNECT_S:g} s"
        except BaseException:
            await self._stop()
            raise
        if failure is not None:
            await self._stop()
            raise BrokerError(
                f"the emulated modules cannot use the broker: {failure}",
                where=f"{self._broker.host} port {self._broker.port}",
                next_step="See that it runs and lets them in",
            )
        return self

    async def __aexit__(self, *_: object) -> None:
        try:
            if self._client.is_connected():
                await self._keep({})
        finally:
            await self._stop()

    async def refresh(self) -> None:
        """Bring the retained topics to what the modules are now; a module that is absent has none."""
        await self._keep(self._wanted())

    async def answer(self) -> None:
        """Answer questions until cancelled, each after the pause that the module takes."""
        slots = asyncio.Semaphore(MAX_QUESTIONS)
        async with asyncio.TaskGroup() as answers:
            while True:
                await slots.acquire()
                topic, payload = await self._questions.get()
                task = answers.create_task(self._answer(topic, payload), name=f"emulated answer to {topic}")
                task.add_done_callback(lambda _: slots.release())

    async def _answer(self, topic: str, payload: bytes) -> None:
        await self._pause()
        for state in self._states():
            if not state.is_present or not state.is_powered or state.is_silent:
                continue
            told = self._makers[state.module.maker].answer(state, topic, payload)
            if told is not None:
                answer_topic, document, content = told
                is_rubbish = state.rubbish_document == document
                self._client.publish(answer_topic, encoded(content, is_rubbish=is_rubbish))

    def _wanted(self) -> dict[str, bytes]:
        wanted: dict[str, bytes] = {}
        for state in self._states():
            if state.is_present:
                maker = self._makers[state.module.maker]
                topic, payload = maker.announcement(state)
                wanted[topic] = payload
                wanted.update(maker.retained(state))
        return wanted

    async def _keep(self, wanted: Mapping[str, bytes]) -> None:
        """Publish what differs from what the broker keeps; empty is how a retained message is taken away."""
        changes = {topic: payload for topic, payload in wanted.items() if self._kept.get(topic) != payload}
        changes |= {topic: b"" for topic in self._kept if topic not in wanted}
        self._kept = dict(wanted)
        published = [self._client.publish(topic, payload, qos=1, retain=True) for topic, payload in changes.items()]
        if not await asyncio.to_thread(_all_arrived, published):
            raise BrokerError(
                f"the broker did not take every message of the emulated modules within {PUBLISH_S:g} s",
                where=f"{self._broker.host} port {self._broker.port}",
                next_step="See that it runs",
            )

    async def _stop(self) -> None:
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    # The library's thread calls these; each hands over to the loop at once.

    def _on_connect(self, client: Client, userdata: object, flags: object, reason: Any, properties: object) -> None:
        if reason != 0:
            self._in_loop(self._settle, str(reason).lower())
            return
        filters = [maker.ask_filter for maker in self._makers.values() if maker.ask_filter is not None]
        client.subscribe([(one, 0) for one in filters])

    def _on_connect_fail(self, client: Client, userdata: object) -> None:
        self._in_loop(self._settle, "nothing listens there")

    def _on_subscribe(self, client: Client, userdata: object, mid: int, reasons: list[Any], properties: object) -> None:
        refused = any(reason.is_failure for reason in reasons)
        self._in_loop(self._settle, "it refuses a subscription" if refused else None)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        if len(message.payload) <= MAX_QUESTION_BYTES and not message.retain:
            self._in_loop(self._ask, message.topic, bytes(message.payload))

    def _in_loop(self, call: Callable[..., None], *arguments: object) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call, *arguments)

    # These run in the loop.

    def _settle(self, failure: str | None) -> None:
        if not self._ready.done():
            self._ready.set_result(failure)

    def _ask(self, topic: str, payload: bytes) -> None:
        if not self._questions.full():
            self._questions.put_nowait((topic, payload))


def _all_arrived(published: Sequence[MQTTMessageInfo]) -> bool:
    """Wait until the broker has acknowledged every message. It blocks, so a thread runs it."""
    until_s = time.monotonic() + PUBLISH_S
    try:
        for one in published:
            one.wait_for_publish(max(0.001, until_s - time.monotonic()))
    except (RuntimeError, ValueError):  # the library's words for no connection, and for a queue that is full
        return False
    return all(one.is_published() for one in published)
