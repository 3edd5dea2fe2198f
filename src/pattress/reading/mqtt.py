"""Documents over MQTT: an answer to a question, or the retained topics of a device.

What belongs here: placeholders in topics, waiting with a deadline. What does not: what the payload means.
"""

import asyncio
from collections.abc import Mapping

from pattress.model.errors import DeviceError
from pattress.model.profile import MqttAsk, MqttRetained
from pattress.reading.http import UnreachableError
from pattress.reading.target import Target
from pattress.wire.decode import MAX_DOCUMENT_BYTES
from pattress.wire.mqtt import Message, MqttLink
from pattress.wire.topics import topic_fault

RETAINED_QUIET_S = 0.3  # a broker sends all retained messages at once; this long without one, and they are all here
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

    await _require_broker(link, answer_s)
    subscription = link.subscribe(_topic(request.answer, target), receive)
    try:
        await _granted(link, subscription.settled, subscription.filter, answer_s)
        if subscription.state == "refused":
            raise DeviceError(
                f"the broker refuses the subscription to {subscription.filter}",
                where=link.broker.name,
                next_step="Allow the user to read that topic",
            )
        for _ in range(2):
            link.publish(question, _filled(request.payload, target).encode())
            try:
                async with asyncio.timeout(answer_s):
                    return await answers.get()
            except TimeoutError:
                continue
    finally:
        link.unsubscribe(subscription)
    raise UnreachableError(
        f"no answer on {subscription.filter} within {answer_s:g} s",
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
    prefix = topic_filter.removesuffix("#")
    kept: dict[str, bytes] = {}
    kept_bytes = 0
    is_too_much = False
    arrival = asyncio.Event()

    def receive(message: Message) -> None:
        nonlocal kept_bytes, is_too_much
        if not message.topic.startswith(prefix):
            return
        arrival.set()
        topic = message.topic.removeprefix(prefix)
        if topic in kept:
            kept_bytes -= len(topic) + len(kept.pop(topic))
        if not message.payload:
            return  # MQTT 3.1.1 section 3.3.1.3: a zero-length retained message is a deletion
        kept_bytes += len(topic) + len(message.payload)
        if len(kept) >= MAX_RETAINED_TOPICS or kept_bytes > MAX_RETAINED_BYTES:
            kept_bytes -= len(topic) + len(message.payload)
            is_too_much = True
            return
        kept[topic] = message.payload

    await _require_broker(link, answer_s)
    subscription = link.subscribe(topic_filter, receive)
    try:
        await _granted(link, subscription.settled, topic_filter, answer_s)
        if subscription.state == "refused":
            raise DeviceError(
                f"the broker refuses the subscription to {topic_filter}",
                where=link.broker.name,
                next_step="Allow the user to read that topic",
            )
        await _until_quiet(arrival, answer_s)
    finally:
        link.unsubscribe(subscription)
    if is_too_much:
        raise DeviceError(
            f"more than {MAX_RETAINED_TOPICS} topics or {MAX_RETAINED_BYTES} bytes are retained under {topic_filter}",
            where=link.broker.name,
            next_step="See who publishes there",
        )
    if not kept:
        raise UnreachableError(
            f"nothing is retained under {topic_filter}",
            where=link.broker.name,
            next_step="See that it is on the broker, and that the user may read that topic",
        )
    return kept


async def _until_quiet(arrival: asyncio.Event, answer_s: float) -> None:
    try:
        async with asyncio.timeout(answer_s):
            while True:
                async with asyncio.timeout(RETAINED_QUIET_S):
                    await arrival.wait()
                arrival.clear()
    except TimeoutError:
        return


async def _require_broker(link: MqttLink, answer_s: float) -> None:
    if not await link.connected(within_s=answer_s):
        raise UnreachableError(
            f"no broker: {link.failure}", where=link.broker.name, next_step="See that the broker runs and lets us in"
        )


async def _granted(link: MqttLink, settled: asyncio.Event, topic_filter: str, answer_s: float) -> None:
    try:
        async with asyncio.timeout(answer_s):
            await settled.wait()
    except TimeoutError as error:
        raise UnreachableError(
            f"the broker did not answer the subscription to {topic_filter}",
            where=link.broker.name,
            next_step="Look at the broker's log",
        ) from error


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
