"""Sightings from MQTT announcements: the topics that profiles name, retained and live.

What belongs here: topic templates, what an announcement says of identity, and what the broker withheld. What does
not: the connection (`wire.mqtt`), and reading a device's settings.
"""

import asyncio
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from pattress.discovery import Sink
from pattress.model.addresses import normal_address, normal_mac
from pattress.model.device import Sighting
from pattress.model.profile import MqttRecognition, Profile
from pattress.model.source import SourceReport
from pattress.model.vocabulary import MAX_TEXT_LENGTH
from pattress.wire.decode import UndecodableError, decode_json
from pattress.wire.mqtt import Message, MqttLink, Subscription
from pattress.wire.search import SearchError, search

MAX_TOPIC_LENGTH = 512  # characters; those of modules have under 80, those of MQTT up to 65,535 bytes
MAX_UNFIT = 5_000  # topics kept to count by; at 512 characters each under 10 MiB
MAX_SIGHTINGS = 10_000  # of one listening, at most 3 kB each; a house of 200 modules makes under 1,000
PLACEHOLDERS = ("{serial}", "{mac}", "{name}")


@dataclass(frozen=True, slots=True)
class Announcement:
    """What one message says of a device."""

    kind: str
    name: str
    mac: str | None
    serial: str | None
    address: str | None
    port: int | None


def topic_filter(template: str) -> str:
    """Return the subscription for a profile's topic template: each placeholder becomes `+`."""
    return "/".join("+" if level in PLACEHOLDERS else level for level in template.split("/"))


def announcement(profiles: Iterable[Profile], topic: str, payload: bytes) -> Announcement | str:
    """Return what a message announces, by the profile with the most conditions; or why it announces nothing."""
    if len(topic) > MAX_TOPIC_LENGTH:
        return f"a topic of more than {MAX_TOPIC_LENGTH} characters"
    reason = "no profile has this topic"
    best: tuple[int, Announcement] | None = None
    content: object = None
    undecodable: str | None = None
    try:
        content = decode_json(payload)
    except UndecodableError as error:
        undecodable = str(error)
    for profile in profiles:
        for recognition in profile.recognise_mqtt:
            words = _captured(recognition.topic, topic)
            if words is None:
                continue
            if undecodable is not None and _needs_content(recognition):
                reason = undecodable
                continue
            if not _holds(recognition, content):
                reason = "no profile fits what it says"
                continue
            if best is None or len(recognition.where) > best[0]:
                best = len(recognition.where), _announcement(profile, recognition, words, topic, content)
    return best[1] if best is not None else reason


class MqttSource:
    """One broker as a source of sightings."""

    def __init__(
        self,
        link: MqttLink,
        profiles: Sequence[Profile],
        *,
        needed_kinds: frozenset[str],
        clock: Callable[[], datetime],
    ) -> None:
        self._link = link
        self._profiles = [profile for profile in profiles if profile.recognise_mqtt]
        self._needed_kinds = needed_kinds
        self._clock = clock
        self._unfit: dict[str, str] = {}
        self._made = 0
        self._told: dict[str, tuple[Announcement, bool]] = {}  # by topic; no longer than MAX_SIGHTINGS

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Hand on each announcement until `stop` is set, and report per topic what the broker granted and gave."""
        filters = sorted({topic_filter(one.topic) for profile in self._profiles for one in profile.recognise_mqtt})
        subscriptions = [self._link.subscribe(one, lambda message: self._receive(message, sink)) for one in filters]
        try:
            await stop.wait()
        finally:
            for subscription in subscriptions:
                self._link.unsubscribe(subscription)
        if self._link.failure is not None:
            return [self._connection_report()]
        return [self._connection_report(), *(self._report(subscription) for subscription in subscriptions)]

    def _receive(self, message: Message, sink: Sink) -> None:
        if not message.payload:
            return  # MQTT 3.1.1 section 3.3.1.3: a zero-length retained message is a deletion
        told = announcement(self._profiles, message.topic, message.payload)
        if isinstance(told, str):
            if len(self._unfit) < MAX_UNFIT:
                self._unfit[message.topic[:MAX_TOPIC_LENGTH]] = told
            return
        if self._told.get(message.topic) == (told, message.is_retained):
            return  # it says again what it said before
        self._made += 1
        if self._made > MAX_SIGHTINGS:
            return
        self._told[message.topic] = told, message.is_retained
        sink(
            Sighting(
                source="mqtt",
                seen_at=self._clock(),
                name=told.name,
                address=told.address,
                port=told.port,
                mac=told.mac,
                serial=told.serial,
                kind=told.kind,
                channel=f"broker {self._link.broker.name}",
                is_dated=not message.is_retained,
                details={"topic": message.topic},
            )
        )

    def _connection_report(self) -> SourceReport:
        source = f"broker {self._link.broker.name}"
        needed = bool(self._needed_kinds)
        if self._link.failure is not None:
            return SourceReport(source=source, state="failed", detail=self._link.failure, is_needed=needed)
        detail = "connected"
        if self._link.dropped:
            detail += f"; {self._link.dropped} messages were too large or too many and were dropped"
        if self._made > MAX_SIGHTINGS:
            detail += f"; {self._made - MAX_SIGHTINGS} announcements over the limits were left out"
        if self._unfit:
            topic, reason = next(iter(sorted(self._unfit.items())))
            detail += f"; {len(self._unfit)} announcements fit no profile, the first on {topic[:80]}: {reason}"
        return SourceReport(source=source, state="heard", detail=detail, heard_count=1, is_needed=needed)

    def _report(self, subscription: Subscription) -> SourceReport:
        source = f"broker {self._link.broker.name}, topic {subscription.filter}"
        needed = any(
            topic_filter(one.topic) == subscription.filter
            for profile in self._profiles
            if profile.id in self._needed_kinds
            for one in profile.recognise_mqtt
        )
        if subscription.state == "refused":
            return SourceReport(
                source=source, state="refused", detail="the broker refuses the subscription", is_needed=needed
            )
        if subscription.messages:
            detail = f"{subscription.messages} messages"
            return SourceReport(
                source=source, state="heard", detail=detail, heard_count=subscription.messages, is_needed=needed
            )
        if subscription.state == "waiting":
            detail = "the broker did not answer the subscription"
            return SourceReport(source=source, state="failed", detail=detail, is_needed=needed)
        detail = (
            "the broker granted the subscription and delivered nothing: no device speaks, or an access list forbids it"
        )
        return SourceReport(source=source, state="silent", detail=detail, is_needed=needed)


def _captured(template: str, topic: str) -> dict[str, str] | None:
    pattern = "/".join(
        f"(?P<{level.strip('{}')}>[^/]+)" if level in PLACEHOLDERS else re.escape(level)
        for level in template.split("/")
    )
    found = re.fullmatch(pattern, topic)
    return found.groupdict() if found else None


def _needs_content(recognition: MqttRecognition) -> bool:
    return bool(recognition.where or recognition.mac or recognition.serial or recognition.address or recognition.port)


def _holds(recognition: MqttRecognition, content: object) -> bool:
    return all(_found(path, content) == wanted for path, wanted in recognition.where.items())


def _found(path: str | None, content: object) -> object:
    if path is None:
        return None
    try:
        return search(path, content)
    except SearchError:
        return None


def _announcement(
    profile: Profile, recognition: MqttRecognition, words: dict[str, str], topic: str, content: object
) -> Announcement:
    mac = _found(recognition.mac, content) or words.get("mac")
    serial = _found(recognition.serial, content) or words.get("serial")
    address = _found(recognition.address, content)
    port = _found(recognition.port, content)
    return Announcement(
        kind=profile.id,
        name=words.get("name") or words.get("serial") or words.get("mac") or topic,
        mac=normal_mac(mac) if isinstance(mac, str) else None,
        serial=serial if isinstance(serial, str) and len(serial) <= MAX_TEXT_LENGTH else None,
        address=normal_address(address) if isinstance(address, str) else None,
        port=port if isinstance(port, int) and not isinstance(port, bool) and 0 < port < 65536 else None,
    )
