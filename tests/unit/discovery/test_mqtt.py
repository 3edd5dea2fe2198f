"""What an announcement over MQTT says of a device, and how much of it is taken."""

import asyncio
import json
from collections.abc import Sequence
from datetime import UTC, datetime

import pytest

from pattress.discovery import mqtt
from pattress.discovery.mqtt import Announcement, MqttSource, announcement, topic_filter
from pattress.model.device import Sighting
from pattress.model.profile import MqttRecognition, Profile
from pattress.model.site import Broker
from pattress.model.source import SourceReport
from pattress.wire.mqtt import Message, Receiver, Subscription

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
MAC = "02:00:5e:00:53:01"


def kind(id: str, *recognitions: MqttRecognition) -> Profile:
    return Profile(id=id, maker="Tern", model="D2", module_class="dual-relay", recognise_mqtt=recognitions)


TERN = kind("tern-d2", MqttRecognition(topic="tern/{serial}/here", mac="hw", address="at", port="port"))
PLAIN = kind("tern-x1", MqttRecognition(topic="tern/{serial}/here"))
SPECIAL = kind("tern-s9", MqttRecognition(topic="tern/{serial}/here", where={"type": "S9"}, mac="hw"))


def told(payload: object, *profiles: Profile, topic: str = "tern/7/here") -> Announcement | str:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return announcement(profiles or (TERN,), topic, raw)


def test_each_placeholder_is_one_level_of_the_subscription() -> None:
    assert topic_filter("tern/{serial}/{mac}/{name}/here") == "tern/+/+/+/here"


def test_an_announcement_says_who_and_where_the_device_is() -> None:
    found = told({"hw": "02-00-5E-00-53-01", "at": "192.0.2.7", "port": 8080})

    assert found == Announcement(kind="tern-d2", name="7", mac=MAC, serial="7", address="192.0.2.7", port=8080)


@pytest.mark.parametrize(
    "payload", [{"hw": 7, "at": "fridge", "port": "80"}, {"port": 0}, {"port": 65536}, [], None, "x"]
)
def test_what_is_no_identity_or_address_is_left_out(payload: object) -> None:
    found = told(payload)

    assert isinstance(found, Announcement)
    assert (found.mac, found.address, found.port, found.serial) == (None, None, None, "7")


def test_the_profile_with_most_conditions_wins_whatever_the_order() -> None:
    for profiles in ((TERN, SPECIAL), (SPECIAL, TERN)):
        found = told({"type": "S9", "hw": MAC}, *profiles)

        assert isinstance(found, Announcement)
        assert found.kind == "tern-s9"


def test_a_condition_that_does_not_hold_is_no_fit() -> None:
    assert told({"type": "S8"}, SPECIAL) == "no profile fits what it says"


@pytest.mark.parametrize("profiles", [(TERN, PLAIN), (PLAIN, TERN)])
def test_a_payload_that_cannot_be_decoded_still_fits_a_profile_that_needs_none_of_it(
    profiles: Sequence[Profile],
) -> None:
    found = told(b"online", *profiles)

    assert isinstance(found, Announcement)
    assert found.kind == "tern-x1"


def test_a_payload_that_cannot_be_decoded_is_named_where_every_profile_needs_it() -> None:
    assert told(b"\xff") == "not UTF-8: byte 0xff at offset 0"


def test_a_payload_that_an_expression_cannot_be_applied_to_is_no_identity() -> None:
    odd = kind("odd", MqttRecognition(topic="tern/{serial}/here", mac="join('', hw)", where={"length(type)": 2}))

    assert told({"hw": [1], "type": "S9"}, odd) == Announcement(
        kind="odd", name="7", mac=None, serial="7", address=None, port=None
    )
    assert told({"hw": [1], "type": 9}, odd) == "no profile fits what it says"


def test_a_topic_or_serial_that_no_module_has_is_not_taken() -> None:
    long_serial = kind("long", MqttRecognition(topic="tern/{name}/here", serial="no"))

    assert told({}, topic=f"tern/{'7' * 600}/here") == "a topic of more than 512 characters"
    found = told({"no": "7" * 600}, long_serial)
    assert isinstance(found, Announcement)
    assert found.serial is None


class Link:
    """A link to a broker that grants everything and gives what it is told to."""

    def __init__(self) -> None:
        self.broker = Broker(name="house", host="192.0.2.2", port=1883)
        self.failure: str | None = None
        self.dropped = 0
        self.subscriptions: list[Subscription] = []

    def subscribe(self, topic_filter: str, receive: Receiver) -> Subscription:
        self.subscriptions.append(Subscription(topic_filter, receive, state="granted"))
        return self.subscriptions[-1]

    def unsubscribe(self, subscription: Subscription) -> None:
        self.subscriptions.remove(subscription)

    def give(self, topic: str, payload: object = None, *, is_retained: bool = False) -> None:
        raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        for subscription in self.subscriptions:
            subscription.messages += 1
            subscription.receive(Message(topic, raw, is_retained))


async def heard(
    *messages: tuple[str, object, bool], link: Link | None = None, needed: frozenset[str] = frozenset()
) -> tuple[list[Sighting], Sequence[SourceReport]]:
    link = link or Link()
    source = MqttSource(link, [TERN], needed_kinds=needed, clock=lambda: NOON)  # type: ignore[arg-type]
    sightings: list[Sighting] = []
    stop = asyncio.Event()
    async with asyncio.TaskGroup() as group:
        listening = group.create_task(source.listen(sightings.append, stop), name="listen")
        await asyncio.sleep(0)
        for topic, payload, is_retained in messages:
            link.give(topic, payload, is_retained=is_retained)
        stop.set()
    assert link.subscriptions == []
    return sightings, listening.result()


async def test_a_retained_announcement_has_no_date() -> None:
    sightings, _ = await heard(("tern/7/here", {"hw": MAC}, True), ("tern/8/here", {}, False))

    assert [(one.serial, one.is_dated, one.channel) for one in sightings] == [
        ("7", False, "broker house"),
        ("8", True, "broker house"),
    ]


async def test_the_same_announcement_again_is_no_news_but_a_live_one_after_a_retained_one_is() -> None:
    sightings, _ = await heard(
        ("tern/7/here", {"hw": MAC}, True),
        *[("tern/7/here", {"hw": MAC}, False)] * 50,
        ("tern/7/here", {"hw": MAC, "at": "192.0.2.7"}, False),
    )

    assert [(one.is_dated, one.address) for one in sightings] == [(False, None), (True, None), (True, "192.0.2.7")]


async def test_a_deletion_of_a_retained_message_announces_nothing() -> None:
    sightings, _ = await heard(("tern/7/here", b"", True))

    assert sightings == []


async def test_what_is_over_the_limit_is_counted_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt, "MAX_SIGHTINGS", 3)

    sightings, [report, _] = await heard(*((f"tern/{number}/here", {}, False) for number in range(10)))

    assert len(sightings) == 3
    assert report.detail == "connected; 7 announcements over the limits were left out"


async def test_announcements_that_fit_no_profile_are_counted_and_the_first_is_named() -> None:
    _, [report, _] = await heard(
        ("tern/8/here", b"\xff", False), ("tern/7/here", b"{", False), ("tern/7/here", b"{", False)
    )

    assert report.detail == (
        "connected; 2 announcements fit no profile, the first on tern/7/here: "
        "not JSON: Expecting property name enclosed in double quotes at line 1, column 2"
    )


async def test_messages_that_the_link_dropped_are_said() -> None:
    link = Link()
    link.dropped = 4

    _, [report, _] = await heard(link=link)

    assert report.detail == "connected; 4 messages were too large or too many and were dropped"


async def test_without_a_connection_nothing_is_said_of_topics() -> None:
    link = Link()
    link.failure = "nothing listens there"

    _, [report] = await heard(link=link, needed=frozenset({"tern-d2"}))

    assert (report.state, report.detail, report.is_needed) == ("failed", "nothing listens there", True)
