"""The link to a broker: a real one, and one that does what no real one would."""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTMessage

from pattress.model.site import Broker, Secret
from pattress.wire import mqtt
from pattress.wire.mqtt import Message, MqttLink
from peers.mosquitto import Mosquitto, module, mosquitto, password_file
from raw_server import LOOPBACK, listening, silence
from unit.wire.fake_broker import REFUSED, FakeBroker, fake_broker, publish

SOON_S = 5.0


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt, "FIRST_RETRY_S", (0.02, 0.03))
    monkeypatch.setattr(mqtt, "LAST_RETRY_S", (0.05, 0.06))


def at(port: int, **more: object) -> Broker:
    return Broker(name="house", host=LOOPBACK, port=port, **more)  # type: ignore[arg-type]


class Inbox:
    """What was received, and a way to wait for it."""

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self._arrived = asyncio.Event()

    def __call__(self, message: Message) -> None:
        self.messages.append(message)
        self._arrived.set()

    async def holding(self, count: int) -> list[Message]:
        async with asyncio.timeout(SOON_S):
            while len(self.messages) < count:
                self._arrived.clear()
                await self._arrived.wait()
        return self.messages


async def settled(subscription: mqtt.Subscription) -> str:
    async with asyncio.timeout(SOON_S):
        await subscription.settled.wait()
    return subscription.state


def losses(link: MqttLink) -> asyncio.Queue[str]:
    """Return the reasons for which the link is without a connection, as they come."""
    reasons: asyncio.Queue[str] = asyncio.Queue()
    note = link._lost

    def lose(reason: str) -> None:
        note(reason)
        reasons.put_nowait(reason)

    link._lost = lose  # type: ignore[method-assign]
    return reasons


async def lost(link: MqttLink, *, times: int = 1) -> None:
    """Wait until the connection has failed so many times. To be called before the loop has turned."""
    reasons = losses(link)
    async with asyncio.timeout(SOON_S):
        for _ in range(times):
            await reasons.get()


@asynccontextmanager
async def linked(fake: FakeBroker) -> AsyncIterator[MqttLink]:
    async with fake_broker(fake), MqttLink(at(fake.port)) as link:
        assert await link.connected(within_s=SOON_S)
        yield link


# Connecting


async def test_an_accepted_link_has_no_failure(broker: Mosquitto) -> None:
    async with MqttLink(at(broker.port)) as link:
        before = link.failure
        assert await link.connected(within_s=SOON_S)

    assert before == "no answer yet"
    assert link.failure is None


async def test_where_nothing_listens_the_failure_says_so() -> None:
    async with fake_broker(FakeBroker()) as gone:
        pass
    async with MqttLink(at(gone.port)) as link:
        await lost(link)
        is_connected = await link.connected(within_s=0.01)

    assert not is_connected
    assert link.failure == f"nothing listens on {LOOPBACK} port {gone.port}"


@pytest.mark.parametrize(("user", "password"), [("warden", "wrong"), ("nobody", "tide-7"), (None, None)])
async def test_a_broker_that_does_not_let_us_in_is_a_refusal(
    user: str | None, password: str | None, tmp_path: Path
) -> None:
    passwords = password_file(tmp_path, warden="tide-7")
    secret = None if password is None else Secret(password)

    with mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}") as guarded:
        async with MqttLink(at(guarded.port, user=user, password=secret)) as link:
            await lost(link, times=2)

    assert link.failure == "the broker refused us: not authorized"


async def test_the_right_password_opens_the_broker(tmp_path: Path) -> None:
    passwords = password_file(tmp_path, warden="tide-7")

    with mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}") as guarded:
        async with MqttLink(at(guarded.port, user="warden", password=Secret("tide-7"))) as link:
            assert await link.connected(within_s=SOON_S)


async def test_a_refusal_is_not_hidden_by_the_closed_connection_after_it() -> None:
    fake = FakeBroker(connect_code=4)

    async with fake_broker(fake), MqttLink(at(fake.port)) as link:
        await lost(link, times=4)

    assert link.failure == "the broker refused us: bad user name or password"


async def test_a_link_that_is_closed_before_it_was_open_ends() -> None:
    async with MqttLink(at(9)):
        pass


# The library leaves the socket of a failed TLS handshake to the collector, which says so.
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning")
async def test_closing_does_not_wait_for_a_broker_that_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt, "CONNECT_S", 0.2)
    started_at = asyncio.get_running_loop().time()

    async with listening(silence) as port, MqttLink(at(port, uses_tls=True)) as link:
        is_connected = await link.connected(within_s=0.1)

    assert not is_connected
    assert asyncio.get_running_loop().time() - started_at < 3


async def test_closing_leaves_no_thread(broker: Mosquitto) -> None:
    before = threading.active_count()

    async with MqttLink(at(broker.port)) as link:
        await link.connected(within_s=SOON_S)
        during = threading.active_count()

    assert during == before + 1


# Receiving


async def test_a_message_is_handed_over_whole(broker: Mosquitto) -> None:
    inbox = Inbox()

    async with MqttLink(at(broker.port)) as link:
        subscription = link.subscribe("whole/+", inbox)
        await link.connected(within_s=SOON_S)
        state = await settled(subscription)
        with module(broker.port) as tern:
            tern.say("whole/a", b"\x00\xff")
        [message] = await inbox.holding(1)

    assert state == "granted"
    assert message == Message(topic="whole/a", payload=b"\x00\xff", is_retained=False)
    assert subscription.messages == 1


async def test_a_retained_message_says_that_it_is_one(broker: Mosquitto) -> None:
    inbox = Inbox()
    with module(broker.port) as tern:
        tern.keep("kept/a", b"old")

    async with MqttLink(at(broker.port)) as link:
        await link.connected(within_s=SOON_S)
        link.subscribe("kept/#", inbox)
        [message] = await inbox.holding(1)

    assert message == Message(topic="kept/a", payload=b"old", is_retained=True)


async def test_each_subscription_that_matches_is_served(broker: Mosquitto) -> None:
    every, one, other = Inbox(), Inbox(), Inbox()

    async with MqttLink(at(broker.port)) as link:
        await link.connected(within_s=SOON_S)
        subscriptions = [link.subscribe(f, i) for f, i in (("both/#", every), ("both/a", one), ("both/b", other))]
        for subscription in subscriptions:
            await settled(subscription)
        with module(broker.port) as tern:
            tern.say("both/a", b"1")
        await one.holding(1)
        await every.holding(1)

    assert other.messages == []


async def test_one_of_two_subscriptions_to_a_filter_may_end(broker: Mosquitto) -> None:
    first, second = Inbox(), Inbox()

    async with MqttLink(at(broker.port)) as link:
        await link.connected(within_s=SOON_S)
        ending, staying = link.subscribe("two/a", first), link.subscribe("two/a", second)
        await settled(ending)
        await settled(staying)
        link.unsubscribe(ending)
        with module(broker.port) as tern:
            tern.say("two/a", b"1")
        await second.holding(1)

    assert first.messages == []


async def test_a_question_is_published_and_not_retained(broker: Mosquitto) -> None:
    with module(broker.port) as tern:
        tern.answer("asked/a", ("asked/b", b"yes"))
        inbox = Inbox()
        async with MqttLink(at(broker.port)) as link:
            await link.connected(within_s=SOON_S)
            await settled(link.subscribe("asked/b", inbox))
            link.publish("asked/a", b"?")
            await inbox.holding(1)
            later = Inbox()
            await settled(link.subscribe("asked/#", later))

    assert tern.heard == [("asked/a", b"?")]
    assert later.messages == []


# Coming back


async def test_after_a_restart_of_the_broker_the_subscriptions_come_back(tmp_path: Path) -> None:
    restarting = Mosquitto(tmp_path, "allow_anonymous true")
    inbox = Inbox()
    try:
        restarting.start()
        async with MqttLink(at(restarting.port)) as link:
            await link.connected(within_s=SOON_S)
            subscription = link.subscribe("back/#", inbox)
            await settled(subscription)
            reasons = losses(link)
            await asyncio.to_thread(restarting.stop)
            await asyncio.wait_for(reasons.get(), SOON_S)
            failure = link.failure
            subscription.settled.clear()
            restarting.start()
            is_back = await link.connected(within_s=SOON_S)
            await settled(subscription)
            with module(restarting.port) as tern:
                tern.say("back/a", b"again")
            [message] = await inbox.holding(1)
    finally:
        restarting.stop()

    assert failure is not None
    assert is_back
    assert link.failure is None
    assert message.payload == b"again"


# What a stranger sends


async def test_a_payload_over_the_limit_is_dropped_and_counted(broker: Mosquitto) -> None:
    inbox = Inbox()

    async with MqttLink(at(broker.port)) as link:
        await link.connected(within_s=SOON_S)
        await settled(link.subscribe("large/#", inbox))
        with module(broker.port) as tern:
            tern.say("large/a", b"x" * (mqtt.MAX_PAYLOAD_BYTES + 1))
            tern.say("large/b", b"x" * mqtt.MAX_PAYLOAD_BYTES)
        [message] = await inbox.holding(1)

    assert message.topic == "large/b"
    assert link.dropped == 1


async def test_a_topic_that_is_not_utf_8_is_dropped_and_counted_and_the_link_lives_on() -> None:
    inbox = Inbox()
    fake = FakeBroker(sends=[publish(b"odd/\xff\xfe", b"1"), publish(b"odd/a", b"2")])

    async with linked(fake) as link:
        link.subscribe("odd/#", inbox)
        [message] = await inbox.holding(1)

    assert message.topic == "odd/a"
    assert link.dropped == 1
    assert fake.connections == 1


async def test_a_message_that_was_not_asked_for_reaches_nobody() -> None:
    inbox = Inbox()
    fake = FakeBroker(sends=[publish(b"elsewhere", b"1"), publish(b"mine/a", b"2")])

    async with linked(fake) as link:
        link.subscribe("mine/#", inbox)
        [message] = await inbox.holding(1)

    assert message.topic == "mine/a"


@pytest.mark.parametrize("limit", [("MAX_PENDING", 10), ("MAX_PENDING_BYTES", 1000)], ids=["messages", "bytes"])
async def test_a_burst_that_the_loop_cannot_take_is_dropped_and_counted(
    limit: tuple[str, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, *limit)
    inbox = Inbox()
    count = 500
    fake = FakeBroker(sends=[b"".join(publish(b"burst/a", b"x" * 100) for _ in range(count))])

    async with linked(fake) as link:
        hand_over = link._in_loop
        whole_burst = asyncio.Event()
        arrived = 0

        def hold_back(call: Callable[..., None], *arguments: object) -> None:
            if call != link._deliver:
                hand_over(call, *arguments)

        def count_up(client: Client, userdata: object, message: MQTTMessage) -> None:
            nonlocal arrived
            link._on_message(client, userdata, message)
            arrived += 1
            if arrived == count:
                hand_over(whole_burst.set)

        link._in_loop = hold_back  # type: ignore[method-assign]
        link._client.on_message = count_up
        link.subscribe("burst/#", inbox)
        async with asyncio.timeout(SOON_S):
            await whole_burst.wait()

    assert link.dropped == count - 10
    assert inbox.messages == []


async def test_a_refused_subscription_says_so() -> None:
    async with linked(FakeBroker(subscribe_code=REFUSED)) as link:
        state = await settled(link.subscribe("denied/#", Inbox()))

    assert state == "refused"


async def test_a_broker_that_does_not_answer_a_subscription_leaves_it_waiting() -> None:
    fake = FakeBroker(subscribe_code=None, sends=[publish(b"quiet/a", b"1")])
    inbox = Inbox()

    async with linked(fake) as link:
        subscription = link.subscribe("quiet/#", inbox)
        await inbox.holding(1)

    assert subscription.state == "waiting"
    assert not subscription.settled.is_set()


async def test_what_is_no_mqtt_is_a_lost_connection() -> None:
    async def rubbish(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(10)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        await writer.drain()

    async with listening(rubbish) as port, MqttLink(at(port)) as link:
        await lost(link)
        failure = link.failure

    assert failure is not None
    assert failure.startswith("the connection was lost: ")
