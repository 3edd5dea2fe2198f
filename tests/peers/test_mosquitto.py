"""What a broker grants, gives, withholds and refuses, and how the source of announcements reports it.

The broker is mosquitto. Its access list grants every subscription and delivers nothing of what it forbids; only its
plugin for dynamic security refuses one.
"""

import asyncio
import base64
import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pattress.discovery.mqtt import MqttSource
from pattress.model.device import Sighting
from pattress.model.profile import MqttRecognition, Profile
from pattress.model.site import Broker, Secret
from pattress.model.source import SourceReport
from pattress.wire import mqtt
from pattress.wire.mqtt import MqttLink
from peers.mosquitto import Module, Mosquitto, module, mosquitto, password_file
from raw_server import LOOPBACK
from unit.reading.certificates import Authority
from unit.wire.fake_broker import REFUSED, FakeBroker, fake_broker

pytestmark = pytest.mark.peer

SOON_S = 5.0
MAC, OTHER_MAC = "02:00:5e:00:53:01", "02:00:5e:00:53:02"
USER, PASSWORD = "auditor", "tide-7"
GRANTED_AND_SILENT = (
    "the broker granted the subscription and delivered nothing: no device speaks, or an access list forbids it"
)
PLUGIN = Path("/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so")


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt, "FIRST_RETRY_S", (0.02, 0.03))
    monkeypatch.setattr(mqtt, "LAST_RETRY_S", (0.05, 0.06))


def kind(family: str) -> Profile:
    return Profile(
        id=f"{family}-d2",
        maker=family.title(),
        model="D2",
        module_class="dual-relay",
        recognise_mqtt=(MqttRecognition(topic=f"{family}/{{name}}/here", mac="hw"),),
    )


TERN, WICK = kind("tern"), kind("wick")
BOTH = frozenset({TERN.id, WICK.id})


def house(port: int, **more: object) -> Broker:
    whole: dict[str, object] = {"user": USER, "password": Secret(PASSWORD)}
    return Broker(name="house", host=LOOPBACK, port=port, **(whole | more))  # type: ignore[arg-type]


async def reports(broker: Broker, tern: Module | None, *, needed: frozenset[str] = BOTH) -> dict[str, SourceReport]:
    """Listen until every subscription is settled and all that it gave at once has come; with None, until it fails.

    The broker sends in order: a last announcement, of `tern`, comes after everything that was retained.
    """
    last = asyncio.Event()
    failed = asyncio.Event()
    stop = asyncio.Event()

    def sink(sighting: Sighting) -> None:
        if sighting.name == "last":
            last.set()

    async with MqttLink(broker) as link, asyncio.TaskGroup() as group, asyncio.timeout(SOON_S):
        note = link._lost
        link._lost = lambda reason: (note(reason), failed.set())  # type: ignore[assignment, method-assign, return-value]
        source = MqttSource(link, [TERN, WICK], needed_kinds=needed, clock=lambda: datetime.now(UTC))
        listening = group.create_task(source.listen(sink, stop), name="listen")
        await asyncio.sleep(0)
        if tern is None:
            await failed.wait()
        else:
            for subscription in list(link._subscriptions):
                await subscription.settled.wait()
            tern.say("tern/last/here", "{}")
            await last.wait()
        stop.set()
        return {report.source: report for report in await listening}


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(tmp_path_factory.mktemp("house"))


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A broker with passwords, and an access list that lets the auditor read one family of topics of two."""
    folder = tmp_path_factory.mktemp("guarded")
    passwords = password_file(folder, auditor=PASSWORD, module="m", reader="r")
    access = folder / "access"
    access.write_text("user module\ntopic readwrite #\nuser reader\ntopic read #\nuser auditor\ntopic read tern/#\n")
    with mosquitto(folder, "allow_anonymous false", f"password_file {passwords}", f"acl_file {access}") as running:
        yield running


@pytest.fixture
def both(guarded: Mosquitto) -> Iterator[Module]:
    """A client that may publish everything, with a device of each kind announced."""
    with module(guarded.port, user="module", password="m") as connected:
        connected.keep("wick/one/here", f'{{"hw": "{OTHER_MAC}"}}')
        connected.keep("tern/one/here", f'{{"hw": "{MAC}"}}')
        yield connected


async def test_a_topic_that_is_granted_and_stays_silent_is_reported_beside_one_that_is_heard(
    guarded: Mosquitto, both: Module
) -> None:
    found = await reports(house(guarded.port), both)

    assert found["broker house"].state == "heard"
    assert found["broker house, topic tern/+/here"].state == "heard"
    assert found["broker house, topic tern/+/here"].heard_count == 2
    silent = found["broker house, topic wick/+/here"]
    assert (silent.state, silent.detail, silent.is_needed) == ("silent", GRANTED_AND_SILENT, True)


async def test_silence_leaves_nothing_unchecked_where_no_planned_kind_speaks_there(
    guarded: Mosquitto, both: Module
) -> None:
    found = await reports(house(guarded.port), both, needed=frozenset({TERN.id}))

    assert found["broker house, topic tern/+/here"].is_needed
    assert found["broker house, topic wick/+/here"].state == "silent"
    assert not found["broker house, topic wick/+/here"].is_needed


async def test_the_same_topics_are_heard_by_a_user_that_may_read_them(guarded: Mosquitto, both: Module) -> None:
    found = await reports(house(guarded.port, user="reader", password=Secret("r")), both)

    assert {report.state for report in found.values()} == {"heard"}


@pytest.mark.parametrize(("user", "password"), [(USER, Secret("wrong")), ("nobody", Secret(PASSWORD)), (None, None)])
async def test_a_wrong_password_is_a_failure_with_a_clear_reason(
    user: str | None, password: Secret | None, guarded: Mosquitto
) -> None:
    found = await reports(house(guarded.port, user=user, password=password), tern=None)

    [report] = found.values()
    assert (report.source, report.state) == ("broker house", "failed")
    assert report.detail == "the broker refused us: not authorized"
    assert report.is_needed


async def test_a_broker_that_is_not_there_is_a_failure_with_a_clear_reason(tmp_path: Path) -> None:
    port = Mosquitto(tmp_path).port

    found = await reports(house(port), tern=None)

    [report] = found.values()
    assert (report.state, report.detail) == ("failed", f"nothing listens on {LOOPBACK} port {port}")


# TLS. The library leaves the socket of a failed handshake to the collector, which says so.
LEFT_SOCKET = pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)


@pytest.fixture(scope="module")
def encrypted(authority: Authority, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    lines = (f"certfile {authority.certificate_file}", f"keyfile {authority.key_file}", "allow_anonymous true")
    with mosquitto(tmp_path_factory.mktemp("encrypted"), *lines) as running:
        yield running


async def test_a_broker_with_a_certificate_of_the_house_is_heard(encrypted: Mosquitto, authority: Authority) -> None:
    broker = house(encrypted.port, uses_tls=True, ca_file=authority.file)

    async with MqttLink(broker) as link:
        is_connected = await link.connected(within_s=SOON_S)

    assert is_connected
    assert link.failure is None


@LEFT_SOCKET
async def test_a_certificate_of_another_authority_is_a_failure_with_a_clear_reason(
    encrypted: Mosquitto, tmp_path: Path
) -> None:
    other = Authority(tmp_path, "other")

    found = await reports(house(encrypted.port, uses_tls=True, ca_file=other.file), tern=None)

    [report] = found.values()
    assert report.state == "failed"
    assert report.detail == "its TLS certificate is not accepted: unable to get local issuer certificate"


@LEFT_SOCKET
async def test_without_an_authority_a_private_certificate_is_a_failure(encrypted: Mosquitto) -> None:
    found = await reports(house(encrypted.port, uses_tls=True), tern=None)

    [report] = found.values()
    assert report.state == "failed"
    assert report.detail.startswith("its TLS certificate is not accepted: ")


@LEFT_SOCKET
async def test_a_certificate_for_another_address_is_a_failure(tmp_path: Path) -> None:
    elsewhere = Authority(tmp_path, address="192.0.2.2")
    lines = (f"certfile {elsewhere.certificate_file}", f"keyfile {elsewhere.key_file}", "allow_anonymous true")

    with mosquitto(tmp_path, *lines) as running:
        found = await reports(house(running.port, uses_tls=True, ca_file=elsewhere.file), tern=None)

    [report] = found.values()
    assert report.state == "failed"
    assert report.detail.startswith("its TLS certificate is not accepted: IP address mismatch")


@LEFT_SOCKET
async def test_tls_on_a_plain_port_is_a_failure(
    guarded: Mosquitto, authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "CONNECT_S", 0.3)

    found = await reports(house(guarded.port, uses_tls=True, ca_file=authority.file), tern=None)

    [report] = found.values()
    assert report.state == "failed"
    assert report.detail in ("no answer within 0.3 s", "the connection failed: connection reset by peer")


async def test_no_tls_on_a_tls_port_is_a_failure(encrypted: Mosquitto) -> None:
    found = await reports(house(encrypted.port), tern=None)

    [report] = found.values()
    assert report.state == "failed"
    assert report.detail.startswith("the connection was lost: ")


# Refused subscriptions


def secured(folder: Path) -> tuple[str, ...]:
    """Return the lines that let the auditor subscribe to one family of topics and refuse him the other."""
    salt = b"twelve bytes"
    hashed = hashlib.pbkdf2_hmac("sha512", PASSWORD.encode(), salt, 101, 64)
    subscribe = {"acltype": "subscribePattern", "topic": "tern/#", "priority": 0, "allow": True}
    defaults = {"publishClientSend": True, "publishClientReceive": True, "subscribe": False, "unsubscribe": True}
    settings = {
        "defaultACLAccess": defaults,
        "roles": [{"rolename": "auditor", "acls": [subscribe]}],
        "clients": [
            {
                "username": USER,
                "password": base64.b64encode(hashed).decode(),
                "salt": base64.b64encode(salt).decode(),
                "iterations": 101,
                "roles": [{"rolename": "auditor"}],
            }
        ],
    }
    file = folder / "security.json"
    file.write_text(json.dumps(settings))
    return f"plugin {PLUGIN}", f"plugin_opt_config_file {file}", "allow_anonymous false"


@pytest.mark.skipif(not PLUGIN.exists(), reason="this mosquitto has no plugin for dynamic security")
async def test_a_subscription_that_mosquitto_refuses_is_reported_as_refused(tmp_path: Path) -> None:
    with (
        mosquitto(tmp_path, *secured(tmp_path)) as running,
        module(running.port, user=USER, password=PASSWORD) as tern,
    ):
        tern.keep("tern/one/here", f'{{"hw": "{MAC}"}}')
        found = await reports(house(running.port), tern)

    assert found["broker house, topic tern/+/here"].state == "heard"
    refused = found["broker house, topic wick/+/here"]
    assert (refused.state, refused.detail) == ("refused", "the broker refuses the subscription")
    assert refused.is_needed


async def test_a_subscription_that_any_broker_refuses_is_reported_as_refused() -> None:
    """MQTT 3.1.1 section 3.9.3: 0x80 is failure. Every subscription is refused, so that nothing can be heard."""
    stop = asyncio.Event()

    async with fake_broker(FakeBroker(subscribe_code=REFUSED)) as fake, MqttLink(house(fake.port)) as link:
        source = MqttSource(link, [TERN], needed_kinds=BOTH, clock=lambda: datetime.now(UTC))
        listening = asyncio.create_task(source.listen(lambda _: None, stop), name="listen")
        await link.connected(within_s=SOON_S)
        [subscription] = link._subscriptions
        await asyncio.wait_for(subscription.settled.wait(), SOON_S)
        stop.set()
        found = {report.source: report for report in await listening}

    assert found["broker house"].state == "heard"
    assert found["broker house, topic tern/+/here"].state == "refused"
    assert found["broker house, topic tern/+/here"].is_needed
