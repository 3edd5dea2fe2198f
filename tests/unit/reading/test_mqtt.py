"""Documents over MQTT, from a real broker with a module beside it."""

import asyncio
import hashlib
from collections.abc import AsyncIterator, Iterator

import pytest
from aiohttp import web

from pattress.model.errors import DeviceError
from pattress.model.profile import Access, AliveSign, MqttAsk, MqttRetained, Profile, SettingSource
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.model.site import Broker, Credential, Secret
from pattress.reading import mqtt
from pattress.reading.http import UnreachableError
from pattress.reading.target import Target
from pattress.wire.mqtt import MqttLink
from peers.mosquitto import Module, Mosquitto, module, mosquitto
from raw_server import LOOPBACK
from unit.reading.stand import MAC, OTHER_MAC, document, open_reader, profile, serving, target

ASK = MqttAsk(ask="tern/{serial}/ask", payload="tell {serial}", answer="tern/{serial}/answer")
KEPT = MqttRetained(filter="tern/{serial}/kept/#")


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
async def link(broker: Mosquitto) -> AsyncIterator[MqttLink]:
    async with MqttLink(Broker(name="house", host=LOOPBACK, port=broker.port)) as opened:
        yield opened


@pytest.fixture
def tern(broker: Mosquitto) -> Iterator[Module]:
    with module(broker.port) as connected:
        yield connected


@pytest.fixture
def serial(request: pytest.FixtureRequest) -> str:
    """A serial of the test's own, so that what one test leaves with the broker is not there for the next."""
    return f"t{hashlib.sha256(request.node.nodeid.encode()).hexdigest()[:12]}"


async def read(link: MqttLink, device: Target, **limits: float) -> Reading:
    async with open_reader(link, **limits) as reader:
        return await reader.read(device)


# Ask and answer


async def test_an_answer_is_what_the_module_says_to_the_question(link: MqttLink, tern: Module, serial: str) -> None:
    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", b'{"hw": 1}'))

    body = await mqtt.ask(link, target(serial=serial), ASK, answer_s=5)

    assert body == b'{"hw": 1}'
    assert tern.heard == [(f"tern/{serial}/ask", f"tell {serial}".encode())]


async def test_a_retained_answer_is_of_another_day_and_does_not_count(
    link: MqttLink, tern: Module, serial: str
) -> None:
    tern.keep(f"tern/{serial}/answer", b"old")

    with pytest.raises(UnreachableError, match="no answer"):
        await mqtt.ask(link, target(serial=serial), ASK, answer_s=0.1)

    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", b"new"))
    assert await mqtt.ask(link, target(serial=serial), ASK, answer_s=5) == b"new"


async def test_of_many_answers_the_first_is_taken(link: MqttLink, tern: Module, serial: str) -> None:
    answers = [(f"tern/{serial}/answer", str(number).encode()) for number in range(100)]
    tern.answer(f"tern/{serial}/ask", *answers)

    assert await mqtt.ask(link, target(serial=serial), ASK, answer_s=5) == b"0"


async def test_a_module_that_missed_the_question_is_asked_once_more(link: MqttLink, tern: Module, serial: str) -> None:
    tern.answer(f"tern/{serial}/ask")

    with pytest.raises(UnreachableError) as caught:
        await mqtt.ask(link, target(serial=serial), ASK, answer_s=0.2)

    assert caught.value.what == f"no answer on tern/{serial}/answer within 0.2 s"
    assert len(tern.heard) == 2


async def test_a_subscription_ends_with_its_question(link: MqttLink, tern: Module, serial: str) -> None:
    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", b"{}"))

    await mqtt.ask(link, target(serial=serial), ASK, answer_s=5)

    assert link._subscriptions == []


# Retained topics


async def test_retained_topics_are_returned_by_their_place_below_the_filter(
    link: MqttLink, tern: Module, serial: str
) -> None:
    for topic, payload in {"hw": MAC, "load/p1": "5", "load/p2": "7"}.items():
        tern.keep(f"tern/{serial}/kept/{topic}", payload)
    tern.keep(f"tern/{serial}/keptelsewhere", "no")

    kept = await mqtt.retained(link, target(serial=serial), KEPT, answer_s=5)

    assert kept == {"hw": MAC.encode(), "load/p1": b"5", "load/p2": b"7"}


async def test_topics_that_come_slowly_are_waited_for(
    link: MqttLink, tern: Module, serial: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "RETAINED_QUIET_S", 0.0)
    for number in range(300):
        tern.keep(f"tern/{serial}/kept/{number}", "x" * 1_000)

    kept = await mqtt.retained(link, target(serial=serial), KEPT, answer_s=20)

    assert len(kept) == 300


async def test_where_nothing_is_retained_the_reason_says_so(link: MqttLink, serial: str) -> None:
    with pytest.raises(UnreachableError) as caught:
        await mqtt.retained(link, target(serial=serial), KEPT, answer_s=5)

    assert caught.value.what == f"nothing is retained under tern/{serial}/kept/#"


@pytest.mark.parametrize("constant", [("MAX_RETAINED_TOPICS", 3), ("MAX_RETAINED_BYTES", 100)], ids=["topics", "bytes"])
async def test_more_than_a_device_can_keep_is_refused_as_a_whole(
    constant: tuple[str, int], link: MqttLink, tern: Module, serial: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, *constant)
    for number in range(5):
        tern.keep(f"tern/{serial}/kept/{number}", "x" * 30)

    with pytest.raises(DeviceError) as caught:
        await mqtt.retained(link, target(serial=serial), KEPT, answer_s=5)

    assert caught.value.what == (
        f"more than {mqtt.MAX_RETAINED_TOPICS} topics or {mqtt.MAX_RETAINED_BYTES} bytes "
        f"are retained under tern/{serial}/kept/#"
    )


# Names that a stranger chose


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("+", "a topic name must not hold '+' or '#'"),
        ("#", "a topic name must not hold '+' or '#'"),
        ("7/kept/#", "a topic name must not hold '+' or '#'"),
        ("7/ask", "the device's name holds '/'"),
        ("../8", "the device's name holds '/'"),
        ("7\0", "a topic filter must not hold the character U+0000"),
    ],
)
async def test_a_name_cannot_reach_the_topics_of_another_device(
    name: str, fault: str, link: MqttLink, tern: Module
) -> None:
    subscribed: list[str] = []
    published: list[str] = []
    link.subscribe = lambda topic_filter, receive: subscribed.append(topic_filter)  # type: ignore[assignment, method-assign]
    link.publish = lambda topic, payload: published.append(topic)  # type: ignore[method-assign]

    with pytest.raises(DeviceError) as asked:
        await mqtt.ask(link, target(serial=name), ASK, answer_s=5)
    with pytest.raises(DeviceError) as looked_up:
        await mqtt.retained(link, target(serial=name), KEPT, answer_s=5)

    assert asked.value.what.endswith(f": {fault}")
    assert looked_up.value.what.endswith(f": {fault}")
    assert (subscribed, published) == ([], [])


async def test_an_identity_that_is_not_known_cannot_be_put_into_a_topic(link: MqttLink) -> None:
    with pytest.raises(DeviceError) as caught:
        await mqtt.ask(link, target(serial=None), ASK, answer_s=5)

    assert caught.value.what == "its serial is not known"


# Whole readings


SERIAL = SettingSource(name="serial", document="kept", at="no")
RESTARTS = SettingSource(name="health.restarts", document="kept", at="boots", is_text=True)


def keeper(*, alive: AliveSign | None = None) -> Profile:
    return profile(document("kept", KEPT, decoding="text"), settings=[SERIAL, RESTARTS], alive=alive)


async def test_retained_topics_alone_are_a_reading_that_may_be_of_any_age(
    link: MqttLink, tern: Module, serial: str
) -> None:
    tern.keep(f"tern/{serial}/kept/no", serial)
    tern.keep(f"tern/{serial}/kept/boots", "4")

    reading = await read(link, target(kind=keeper(), mac=None, serial=serial))

    assert isinstance(reading, Snapshot)
    assert {name: one.value for name, one in reading.values.items()} == {"serial": serial, "health.restarts": 4}
    assert not reading.is_live


@pytest.mark.parametrize(
    ("state", "reason"),
    [
        ("here", None),
        ("gone", 'its sign of life is text "gone", not text "here"'),
        (None, 'its sign of life is nothing, not text "here"'),
    ],
)
async def test_a_sign_of_life_tells_a_live_reading_from_a_memory(
    state: str | None, reason: str | None, link: MqttLink, tern: Module, serial: str
) -> None:
    tern.keep(f"tern/{serial}/kept/no", serial)
    if state is not None:
        tern.keep(f"tern/{serial}/kept/state", state)
    alive = AliveSign(document="kept", at="state", equals="here")

    reading = await read(link, target(kind=keeper(alive=alive), mac=None, serial=serial))

    if reason is None:
        assert isinstance(reading, Snapshot)
        assert reading.is_live
    else:
        assert isinstance(reading, Unreadable)
        assert reading.reason == reason


async def test_an_answer_makes_a_reading_live(link: MqttLink, tern: Module, serial: str) -> None:
    asked = profile(document("told", ASK), settings=[SettingSource(name="mac", document="told", at="hw")])
    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", f'{{"hw": "{MAC}"}}'.encode()))

    reading = await read(link, target(kind=asked, serial=serial))

    assert isinstance(reading, Snapshot)
    assert reading.is_live


async def test_a_module_that_does_not_answer_is_unreadable_with_the_reason(link: MqttLink, serial: str) -> None:
    asked = profile(document("told", ASK), settings=[SettingSource(name="mac", document="told", at="hw")])

    reading = await read(link, target(kind=asked, serial=serial), answer_s=0.1)

    assert isinstance(reading, Unreadable)
    assert reading.reason == f"no answer on tern/{serial}/answer within 0.1 s"


async def test_an_answer_in_the_name_of_another_device_is_not_kept(link: MqttLink, tern: Module, serial: str) -> None:
    asked = profile(document("told", ASK), settings=[SettingSource(name="mac", document="told", at="hw")])
    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", f'{{"hw": "{OTHER_MAC}"}}'.encode()))

    reading = await read(link, target(kind=asked, serial=serial))

    assert isinstance(reading, Unreadable)
    assert reading.reason.startswith("another device answered: its mac is ")


async def test_a_device_over_mqtt_is_asked_once_however_many_addresses_it_has(
    link: MqttLink, tern: Module, serial: str
) -> None:
    asked = profile(document("told", ASK), settings=[SettingSource(name="mac", document="told", at="hw")])
    tern.answer(f"tern/{serial}/ask", (f"tern/{serial}/answer", b"rubbish"))

    reading = await read(link, target(1, 2, 3, kind=asked, serial=serial))

    assert isinstance(reading, Unreadable)
    assert reading.reason.startswith("not JSON: ")
    assert len(tern.heard) == 1


async def test_a_proof_over_the_broker_does_not_open_the_door_at_an_address(
    link: MqttLink, tern: Module, serial: str
) -> None:
    """The broker's word for who a device is says nothing of who listens where it was seen last."""
    shown: list[str | None] = []

    async def shape(request: web.Request) -> web.StreamResponse:
        shown.append(request.headers.get("Authorization"))
        return web.json_response({})

    tern.keep(f"tern/{serial}/kept/no", serial)
    both = profile(
        document("kept", KEPT, decoding="text", is_open=True),
        document("shape"),
        settings=[SERIAL, SettingSource(name="mqtt.host", document="shape", at="host")],
        access=Access(credential="basic"),
    )
    credential = Credential(secret=Secret("tide-7"), user="warden")

    async with serving({"/shape": shape}) as port:
        reading = await read(link, target(port, kind=both, mac=None, serial=serial, credential=credential))

    assert shown == []
    assert isinstance(reading, Snapshot)
    assert [error.reason for error in reading.errors] == [
        "no credentials shown: it has not proved that it is the mac or serial of its point (GET /shape)"
    ]


async def test_without_a_broker_the_reason_says_so(serial: str) -> None:
    async with open_reader() as reader:
        reading = await reader.read(target(kind=keeper(), serial=serial))

    assert isinstance(reading, Unreadable)
    assert reading.reason == "the site has no broker"


async def test_a_broker_that_is_not_there_is_named(serial: str) -> None:
    async with serving({}) as gone:
        pass
    async with MqttLink(Broker(name="house", host=LOOPBACK, port=gone)) as link:
        reading = await read(link, target(kind=keeper(), serial=serial), answer_s=0.3)

    assert isinstance(reading, Unreadable)
    assert reading.reason == f"no broker: nothing listens on {LOOPBACK} port {gone}"


async def test_many_devices_share_one_link(link: MqttLink, tern: Module, serial: str) -> None:
    serials = [f"{serial}-{number}" for number in range(30)]
    for one in serials:
        tern.keep(f"tern/{one}/kept/no", one)

    async with open_reader(link) as reader:
        readings = await asyncio.gather(*(reader.read(target(kind=keeper(), mac=None, serial=one)) for one in serials))

    assert [one.values["serial"].value for one in readings if isinstance(one, Snapshot)] == serials
