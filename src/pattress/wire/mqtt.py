"""One connection to an MQTT broker, handed from the library's network thread into the event loop.

What belongs here: connecting, subscribing, receiving, reconnecting, and saying what failed. What does not: what a
message means. The library (paho-mqtt) owns the socket and the reconnection; nothing else of ours imports it but
`wire.topics`.
"""

import asyncio
import os
import random
import secrets
import socket
import ssl
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal, Self

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

from pattress.model.site import Broker
from pattress.wire.topics import matches

MAX_PAYLOAD_BYTES = 262_144  # 256 KiB; a module's own messages are under 16 kB
MAX_PENDING = 4_096  # messages between the thread and the loop: at most 4096 x 256 KiB by bytes below
MAX_PENDING_BYTES = 33_554_432  # 32 MiB, whatever the count
KEEP_ALIVE_S = 30
CONNECT_S = 5.0  # for TCP and again for TLS; a link that is closed meanwhile waits for it
# The library doubles from the first delay to the last; drawn at random they keep clients from marching in step.
FIRST_RETRY_S = (1.0, 2.0)
LAST_RETRY_S = (45.0, 60.0)


@dataclass(frozen=True, slots=True)
class Message:
    """One message. A retained one may be of any age."""

    topic: str
    payload: bytes
    is_retained: bool


Receiver = Callable[[Message], None]


@dataclass(slots=True)
class Subscription:
    """One topic filter, and how the broker answered it. `messages` counts what was delivered."""

    filter: str
    receive: Receiver
    state: Literal["waiting", "granted", "refused"] = "waiting"
    messages: int = 0
    settled: asyncio.Event = field(default_factory=asyncio.Event)


class MqttLink:
    """A connection that comes back by itself and subscribes anew each time.

    `failure` says why there is no connection now; `dropped` counts messages that were too large or too many.
    """

    def __init__(self, broker: Broker) -> None:
        self.broker = broker
        self.failure: str | None = "no answer yet"
        self.dropped = 0
        self._subscriptions: list[Subscription] = []
        self._awaited: dict[int, Subscription] = {}
        self._pending = 0
        self._pending_bytes = 0
        self._pending_lock = threading.Lock()
        self._ready = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._client = self._new_client()

    async def __aenter__(self) -> Self:
        self._client.connect_async(self.broker.host, self.broker.port, KEEP_ALIVE_S)
        self._client.loop_start()
        return self

    async def __aexit__(self, *_: object) -> None:
        self._client.on_disconnect = None
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    async def connected(self, *, within_s: float) -> bool:
        """Wait until the broker has accepted us. Returns False, with `failure` set, where it has not in time."""
        try:
            async with asyncio.timeout(within_s):
                await self._ready.wait()
        except TimeoutError:
            return False
        return True

    def subscribe(self, topic_filter: str, receive: Receiver) -> Subscription:
        """Subscribe now and after each reconnection. `receive` is called in the event loop."""
        subscription = Subscription(topic_filter, receive)
        self._subscriptions.append(subscription)
        if self._ready.is_set():
            self._request(subscription)
        return subscription

    def unsubscribe(self, subscription: Subscription) -> None:
        """End a subscription. The broker is told once no other one has the same filter."""
        self._subscriptions.remove(subscription)
        if not any(other.filter == subscription.filter for other in self._subscriptions):
            self._client.unsubscribe(subscription.filter)

    def publish(self, topic: str, payload: bytes) -> None:
        """Publish once, not retained, with QoS 0: a question to a device, never a setting."""
        self._client.publish(topic, payload, qos=0, retain=False)

    # The library's thread calls these; each hands over to the loop at once.

    def _new_client(self) -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=f"pattress-{secrets.token_hex(6)}", reconnect_on_failure=True
        )
        if self.broker.user is not None:
            secret = self.broker.password
            client.username_pw_set(self.broker.user, None if secret is None else secret.reveal())
        if self.broker.uses_tls:
            client.tls_set_context(ssl.create_default_context(cafile=self.broker.ca_file))
        client.connect_timeout = CONNECT_S
        first_s, last_s = random.uniform(*FIRST_RETRY_S), random.uniform(*LAST_RETRY_S)  # noqa: S311
        # The library's annotations say int; its arithmetic is that of any number.
        client.reconnect_delay_set(first_s, last_s)  # type: ignore[arg-type]
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _on_connect(self, client: Client, userdata: object, flags: object, reason: Any, properties: object) -> None:
        self._in_loop(self._connected, None if reason == 0 else f"the broker refused us: {str(reason).lower()}")

    def _on_connect_fail(self, client: Client, userdata: object) -> None:
        self._in_loop(self._lost, _connection_reason(sys.exc_info()[1], self.broker))

    def _on_disconnect(self, client: Client, userdata: object, flags: object, reason: Any, properties: object) -> None:
        self._in_loop(self._lost, f"the connection was lost: {str(reason).lower()}")

    def _on_subscribe(self, client: Client, userdata: object, mid: int, reasons: list[Any], properties: object) -> None:
        self._in_loop(self._answered, mid, any(reason.is_failure for reason in reasons))

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        size = len(message.payload)
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self.dropped += 1
            return
        with self._pending_lock:
            full = self._pending >= MAX_PENDING or self._pending_bytes + size > MAX_PENDING_BYTES
            if size > MAX_PAYLOAD_BYTES or full:
                self.dropped += 1
                return
            self._pending += 1
            self._pending_bytes += size
        self._in_loop(self._deliver, Message(topic, bytes(message.payload), bool(message.retain)))

    def _in_loop(self, call: Callable[..., None], *arguments: object) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call, *arguments)

    # These run in the loop.

    def _connected(self, refusal: str | None) -> None:
        if refusal is not None:
            self._lost(refusal)
            return
        self.failure = None
        self._awaited.clear()
        self._ready.set()
        for subscription in self._subscriptions:
            self._request(subscription)

    def _lost(self, reason: str) -> None:
        # A refusal is followed by the library's own report of the closed connection: the first reason is the better.
        if self._ready.is_set() or self.failure is None or not self.failure.startswith("the broker refused us"):
            self.failure = reason
        self._ready.clear()

    def _request(self, subscription: Subscription) -> None:
        result, mid = self._client.subscribe(subscription.filter, qos=1)
        if result == MQTTErrorCode.MQTT_ERR_SUCCESS and mid is not None:
            self._awaited[mid] = subscription

    def _answered(self, mid: int, is_refused: bool) -> None:
        subscription = self._awaited.pop(mid, None)
        if subscription is not None:
            subscription.state = "refused" if is_refused else "granted"
            subscription.settled.set()

    def _deliver(self, message: Message) -> None:
        with self._pending_lock:
            self._pending -= 1
            self._pending_bytes -= len(message.payload)
        for subscription in [one for one in self._subscriptions if matches(one.filter, message.topic)]:
            subscription.messages += 1
            subscription.receive(message)


def _connection_reason(error: BaseException | None, broker: Broker) -> str:
    match error:
        case ssl.SSLCertVerificationError():
            return f"its TLS certificate is not accepted: {error.verify_message}"
        case ConnectionRefusedError():
            return f"nothing listens on {broker.host} port {broker.port}"
        case ssl.SSLError(reason=str(reason)):
            return f"no TLS connection: {reason.replace('_', ' ').lower()}"
        case TimeoutError():
            return f"no answer within {CONNECT_S:g} s"
        case socket.gaierror():
            return f"the name {broker.host} leads to no address"
        case OSError(errno=int(number)):
            return f"the connection failed: {os.strerror(number).lower()}"
        case None:
            return "the connection failed"
        case _:
            return f"the connection failed: {error}"
