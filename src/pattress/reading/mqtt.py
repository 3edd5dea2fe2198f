"""Documents over MQTT: an answer to a question, or the retained topics of a device.

What belongs here: placeholders in topics, waiting with a deadline. What does not: what the payload means.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping

from pattress.model.errors import DeviceError
from pattress.model.profile import MqttAsk, MqttRetained
from pattress.reading.http import UnreachableError
from pattress.reading.target import Target
from pattress.wire.decode import MAX_DOCUMENT_BYTES
from pattress.wire.mqtt import Message, MqttLink, Receiver
from pattress.wire.topics import topic_fault

# A broker sends what it retains at once and in order, and again at each subscription (MQTT 3.1.1, MQTT-3.8.4-3): when
# a message comes for the second time, all are here but for what it sends out of order, which this long is waited for.
RETAINED_QUIET_S = 0.3
UNREPEATED_QUIET_S = 1.5  # where nothing comes for the second time: nothing is retained, or the broker is busy
MAX_RETAINED_TOPICS = 500  # modules keep 10 to 60 topics
MAX_RETAINED_BYTES = MAX_DOCUMENT_BYTES  # together they are one document: 100 devices at once stay under 100 MiB


async def ask(link: MqttLink, target: Target, request: MqttAsk, *, answer_s: float) -> bytes:
    """Publish a question and return the first answer that is not a retained one. One retry.

    Raises:
        UnreachableError: If no answer came in time, twice, or there is no broker.
        DeviceError: If the device cannot be addressed, or the broker refuses.
    """
    question = _topic(request.ask, target)
    answers: asyncio.Queue[bytes] = asyncio.Queue(maxsize=8)  # one is awaited; the rest is dropped

    def receive(message: Message) -> None:
        if not message.is_retained and not answers.full():
            answers.put_nowait(message.payload)

    topic = _topic(request.answer, target)
    async with _subscribed(link, topic, receive, answer_s):
        for _ in range(2):
            link.publish(question, _filled(request.payload, target).encode())
            try:
                async with asyncio.timeout(answer_s):
                    return await answers.get()
            except TimeoutError:
                continue
    raise UnreachableError(
        f"no answer on {topic} within {answer_s:g} s",
        where=link.broker.name,
        next_step="See that it has power and is on the broker",
    )


async def retained(link: MqttLink, target: Target, request: MqttRetained, *, answer_s: float) -> Mapping[str, bytes]:
    """Return the messages that the broker keeps below a filter ending in `/#`, by their topic below it.

    Raises:
        UnreachableError: If there is none, or no broker.
        DeviceError: If the device cannot be addressed, the broker refuses, or it keeps more than a device would.
    """
    topic_filter = _topic(request.filter.removesuffix("/#"), target) + "/#"
    kept = _Kept(topic_filter.removesuffix("#"))
    async with (
        _subscribed(link, topic_filter, kept.receive, answer_s),
        _subscribed(link, topic_filter, _ignore, answer_s),  # so that all of it is sent again
    ):
        await kept.until_complete(answer_s)
    if kept.is_too_much:
        raise DeviceError(
            f"more than {MAX_RETAINED_TOPICS} topics or {MAX_RETAINED_BYTES} bytes are retained under {topic_filter}",
            where=link.broker.name,
            next_step="See who publishes there",
        )
    if not kept.payloads:
        raise UnreachableError(
            f"nothing is retained under {topic_filter}",
            where=link.broker.name,
            next_step="See that it is on the broker, and that the user may read that topic",
        )
    return kept.payloads


class _Kept:
    """What came of the retained messages below a prefix, by the topic below it, within bounds."""

    def __init__(self, prefix: str) -> None:
        self.payloads: dict[str, bytes] = {}
        self.is_too_much = False
        self._prefix = prefix
        self._bytes = 0
        self._is_repeated = False
        self._arrival = asyncio.Event()

    def receive(self, message: Message) -> None:
        if not message.topic.startswith(self._prefix):
            return
        self._arrival.set()
        topic = message.topic.removeprefix(self._prefix)
        if topic in self.payloads:
            self._is_repeated |= message.is_retained
            self._bytes -= len(topic) + len(self.payloads.pop(topic))
        size = len(topic) + len(message.payload)
        if not message.payload:
            return  # MQTT 3.1.1 section 3.3.1.3: a zero-length retained message is a deletion
        if len(self.payloads) >= MAX_RETAINED_TOPICS or self._bytes + size > MAX_RETAINED_BYTES:
            self.is_too_much = True
            return
        self._bytes += size
        self.payloads[topic] = message.payload

    async def until_complete(self, within_s: float) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                while await self._comes_more():
                    self._arrival.clear()

    async def _comes_more(self) -> bool:
        try:
            async with asyncio.timeout(RETAINED_QUIET_S if self._is_repeated else UNREPEATED_QUIET_S):
                return await self._arrival.wait()
        except TimeoutError:
            return False


@contextlib.asynccontextmanager
async def _subscribed(link: MqttLink, topic_filter: str, receive: Receiver, answer_s: float) -> AsyncIterator[None]:
    """Be subscribed, once the broker has granted it.

    Raises:
        UnreachableError: If there is no broker, or it did not answer in time.
        DeviceError: If the broker refuses.
    """
    if not await link.connected(within_s=answer_s):
        raise UnreachableError(
            f"no broker: {link.failure}", where=link.broker.name, next_step="See that the broker runs and lets us in"
        )
    subscription = link.subscribe(topic_filter, receive)
    try:
        try:
            async with asyncio.timeout(answer_s):
                await subscription.settled.wait()
        except TimeoutError as error:
            raise UnreachableError(
                f"the broker did not answer the subscription to {topic_filter}",
                where=link.broker.name,
                next_step="Look at the broker's log",
            ) from error
        if subscription.state == "refused":
            raise DeviceError(
                f"the broker refuses the subscription to {topic_filter}",
                where=link.broker.name,
                next_step="Allow the user to read that topic",
            )
        yield
    finally:
        link.unsubscribe(subscription)


def _ignore(_message: Message) -> None:
    """Take what another subscription takes already."""


def _topic(template: str, target: Target) -> str:
    """Return a topic with the device's own words put in; never one that would reach another device's topics."""
    topic = _filled(template, target)
    fault = topic_fault(topic)
    if fault is None and topic.count("/") != template.count("/"):
        fault = "the device's name holds '/'"
    if fault is not None:
        raise DeviceError(
            f"it cannot be addressed as {topic[:80]!r}: {fault}", where=target.device, next_step="Look at its profile"
        )
    return topic


def _filled(template: str, target: Target) -> str:
    words = {"{serial}": target.serial, "{mac}": target.mac, "{name}": target.name}
    for placeholder, word in words.items():
        if placeholder in template:
            if word is None:
                raise DeviceError(
                    f"its {placeholder.strip('{}')} is not known",
                    where=target.device,
                    next_step="Put it into points.toml, or announce it",
                )
            template = template.replace(placeholder, word)
    return template
