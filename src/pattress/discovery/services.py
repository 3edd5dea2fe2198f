"""What the records heard on one interface say of services: which there are, where, and what of them is not known yet.

What belongs here: the state, fed with one record after the other, and the sightings that follow from it; the time
comes in as an argument. What does not: sockets, and the library's own records.
"""

import ipaddress
import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from pattress.discovery.questions import (
    TYPE_A,
    TYPE_AAAA,
    TYPE_PTR,
    TYPE_SRV,
    TYPE_TXT,
    KnownAnswer,
    Labels,
    Question,
    checked_labels,
    labels_of,
)
from pattress.discovery.sightings import Announcement, SightingMaker, Told
from pattress.discovery.txt import MAX_TXT_BYTES
from pattress.model.addresses import normal_address

ENUMERATION = "_services._dns-sd._udp.local."  # RFC 6763 section 9: a pointer to each type of service
MAX_TYPES = 200  # that no profile names; a busy house announces about 60
MAX_INSTANCES = 2_000  # 200 modules of 3 services each, three times over; at most 2,000 x 12 kB (TXT of 1,300 bytes,
# the sighting made of it, 8 addresses) = 24 MB
MAX_OTHER_INSTANCES = 1_000  # of types that no profile names, so that a flood of those leaves room for modules
MAX_ADDRESSES = 8  # of one host: IPv4, and link-local, local and global IPv6, each with one that is about to change
RESOLVE_S = 2.0  # what is not known of a service by then is left out of its sighting
GOODBYE_S = 1.0  # RFC 6762 section 10.1: a goodbye counts after 1 s, unless the service is announced again
FLUSH_S = 1.0  # RFC 6762 section 10.2: what was heard longer ago is out of date


class ServiceTable:
    """The services on one interface: feed it records, let time pass, and have it tell.

    `wanted` holds the questions that are open; `dropped` counts announcements beyond the limits.
    """

    def __init__(self, interface: str, named_types: Collection[str], sightings: SightingMaker) -> None:
        self.dropped = 0
        self.wanted: dict[Question, None] = {}
        self._interface = interface
        self._named = frozenset(service_type.lower() for service_type in named_types)
        self._sightings = sightings
        self._types: dict[str, Question] = {}
        self._instances: dict[bytes, _Instance] = {}
        self._hosts: dict[bytes, _Host] = {}
        self._other_count = 0
        self._changed: dict[bytes, None] = {}
        self._unresolved: dict[bytes, float] = {}  # when first heard of, oldest first
        self._leaving: dict[bytes, float] = {}  # when the goodbye came, oldest first
        self._new_questions: list[Question] = []
        self._want(Question(ENUMERATION, TYPE_PTR, labels_of(ENUMERATION)))
        for service_type in sorted(self._named):
            self._learn(service_type)

    @property
    def next_s(self) -> float:
        """When time makes the next difference; infinity where it makes none."""
        return min(
            next(iter(self._unresolved.values()), math.inf) + RESOLVE_S,
            next(iter(self._leaving.values()), math.inf) + GOODBYE_S,
        )

    def take_new_questions(self) -> list[Question]:
        """Return the questions that have come up since the last time."""
        new, self._new_questions = self._new_questions, []
        return new

    def known_answers(self, at_s: float) -> Mapping[Question, list[KnownAnswer]]:
        """Return, for each question for the services of a type, the answers that need not be given again."""
        known: dict[Question, list[KnownAnswer]] = {}
        for instance in self._instances.values():
            left_s = instance.heard_s + instance.ttl_s - at_s
            # RFC 6762 section 7.1: an answer in the second half of its time is to be given again.
            if instance.labels is not None and 2 * left_s > instance.ttl_s:
                answer = KnownAnswer(instance.labels, int(left_s))
                known.setdefault(self._types[instance.service_type], []).append(answer)
        return known

    def pointer(self, owner: str, target: str, *, ttl_s: int, at_s: float) -> None:
        """Take in that there is a type of service, or a service of a type; with a time to live of 0, that it left."""
        if owner.lower() == ENUMERATION:
            # A goodbye to a type is nothing to go by: where one of its hosts leaves, others may stay.
            if ttl_s > 0 and (found := _TYPE.match(target)) is not None and not self._learn(found[1].lower()):
                self.dropped += 1
            return
        found = _TYPE.fullmatch(owner)
        if found is None or not target.lower().endswith("." + owner.lower()) or len(target) == len(owner) + 1:
            return
        key = _key(target)
        if ttl_s == 0:
            if key in self._instances:
                self._leaving.setdefault(key, at_s)
            return
        self._leaving.pop(key, None)
        if key not in self._instances and not self._add(key, found[1].lower(), target, len(owner) + 1, at_s):
            self.dropped += 1
            return
        self._instances[key].ttl_s = ttl_s
        self._instances[key].heard_s = at_s

    def service(self, name: str, host: str, port: int) -> None:
        """Take in on which host and port a service is."""
        instance = self._instances.get(_key(name))
        if instance is None:
            return
        self.wanted.pop(instance.service_question, None)
        if (instance.host, instance.port) == (host, port):
            return
        if _key(instance.host) != _key(host):
            self._leave_host(instance)
            self._join_host(instance, host)
        instance.host, instance.port = host, port
        self._changed[instance.key] = None

    def text(self, name: str, data: bytes) -> None:
        """Take in the TXT record of a service."""
        instance = self._instances.get(_key(name))
        if instance is None:
            return
        self.wanted.pop(instance.text_question, None)
        data = data[:MAX_TXT_BYTES]
        if instance.text != data:
            instance.text = data
            self._changed[instance.key] = None

    def address(self, host: str, address: bytes, *, at_s: float, replaces: bool) -> None:
        """Take in one address of a host. One that `replaces` puts those of its kind out of date."""
        known = self._hosts.get(_key(host))
        text = self._address_text(address)
        if known is None or text is None:
            return
        self.wanted.pop(known.questions[0 if len(address) == _IPV4_BYTES else 1], None)
        if replaces:
            for other, seen_s in list(known.addresses.items()):
                if (":" in other) == (":" in text) and at_s - seen_s > FLUSH_S:
                    del known.addresses[other]
        is_new = known.addresses.pop(text, None) is None
        if len(known.addresses) >= MAX_ADDRESSES:
            del known.addresses[next(iter(known.addresses))]
        known.addresses[text] = at_s
        if is_new:
            self._changed.update(dict.fromkeys(known.instances))

    def expired(self, name: str) -> None:
        """Take in that a service has not been announced for as long as it said it would be."""
        instance = self._instances.get(_key(name))
        if instance is not None:
            self._remove(instance)

    def pass_time(self, at_s: float) -> None:
        """Let time pass: unanswered questions are given up, and goodbyes come to count."""
        while self._unresolved and next(iter(self._unresolved.values())) + RESOLVE_S <= at_s:
            key = next(iter(self._unresolved))
            del self._unresolved[key]
            self._changed[key] = None
        while self._leaving and next(iter(self._leaving.values())) + GOODBYE_S <= at_s:
            key = next(iter(self._leaving))
            instance = self._instances[key]
            self._sightings.say_goodbye(instance.announcement, instance.told)
            self._remove(instance)

    def tell(self) -> None:
        """Have sightings made of the services that have changed and are resolved, or given up."""
        for key in self._changed:
            instance = self._instances.get(key)
            if instance is None:
                continue
            host = self._hosts.get(_key(instance.host))
            addresses = () if host is None else tuple(host.addresses)
            if addresses and instance.text is not None:
                self._unresolved.pop(key, None)
            if key not in self._unresolved:
                self._sightings.tell(instance.announcement, addresses, instance.told)
        self._changed.clear()

    def _learn(self, service_type: str) -> bool:
        """Browse a type. False where it is one too many."""
        if service_type in self._types:
            return True
        if service_type not in self._named and len(self._types) - len(self._named) >= MAX_TYPES:
            return False
        name = f"{service_type}.local."
        self._types[service_type] = Question(name, TYPE_PTR, labels_of(name))
        self._want(self._types[service_type])
        return True

    def _add(self, key: bytes, service_type: str, name: str, suffix_length: int, at_s: float) -> bool:
        """Add a service. False where it is one too many."""
        is_other = service_type not in self._named
        if len(self._instances) >= MAX_INSTANCES or (is_other and self._other_count >= MAX_OTHER_INSTANCES):
            return False
        if not self._learn(service_type):
            return False
        # The label ends where the type begins, and is one label whatever dots it holds.
        label = name[:-suffix_length]
        labels = checked_labels([label, *service_type.split("."), "local"])
        self._instances[key] = _Instance(key=key, service_type=service_type, label=label, name=name, labels=labels)
        self._other_count += is_other
        self._unresolved[key] = at_s
        self._want(self._instances[key].service_question)
        self._want(self._instances[key].text_question)
        return True

    def _remove(self, instance: "_Instance") -> None:
        self._leave_host(instance)
        self.wanted.pop(instance.service_question, None)
        self.wanted.pop(instance.text_question, None)
        self._unresolved.pop(instance.key, None)
        self._leaving.pop(instance.key, None)
        self._other_count -= instance.service_type not in self._named
        del self._instances[instance.key]

    def _join_host(self, instance: "_Instance", name: str) -> None:
        host = self._hosts.get(_key(name))
        if host is None:
            labels = labels_of(name)
            host = _Host(questions=(Question(name, TYPE_A, labels), Question(name, TYPE_AAAA, labels)))
            self._hosts[_key(name)] = host
            for question in host.questions:
                self._want(question)
        host.instances[instance.key] = None

    def _leave_host(self, instance: "_Instance") -> None:
        host = self._hosts.get(_key(instance.host))
        if host is None:
            return
        host.instances.pop(instance.key, None)
        if not host.instances:
            del self._hosts[_key(instance.host)]
            for question in host.questions:
                self.wanted.pop(question, None)

    def _want(self, question: Question) -> None:
        self.wanted[question] = None
        self._new_questions.append(question)

    def _address_text(self, address: bytes) -> str | None:
        try:
            parsed = ipaddress.ip_address(address)
        except ValueError:
            return None
        # The record has no zone; the address means nothing without the interface that it was heard on.
        zone = f"%{self._interface}" if parsed.version == 6 and parsed.is_link_local else ""
        return normal_address(f"{parsed}{zone}")


_TYPE = re.compile(r"(_[a-z0-9](?:[a-z0-9_-]{0,61})\._(?:tcp|udp))\.local\.", re.IGNORECASE)
_IPV4_BYTES = 4


@dataclass(slots=True, kw_only=True)
class _Instance:
    """One service, with what was last told of it, by address."""

    key: bytes
    service_type: str
    label: str
    name: str
    labels: Labels | None
    ttl_s: int = 0
    heard_s: float = 0.0
    host: str = ""
    port: int | None = None
    text: bytes | None = None
    told: Told = field(default_factory=dict)

    @property
    def announcement(self) -> Announcement:
        return Announcement(
            service_type=self.service_type, label=self.label, host=self.host, port=self.port, text=self.text or b""
        )

    @property
    def service_question(self) -> Question:
        return Question(self.name, TYPE_SRV, self.labels)

    @property
    def text_question(self) -> Question:
        return Question(self.name, TYPE_TXT, self.labels)


@dataclass(slots=True, kw_only=True)
class _Host:
    """One host: the questions for its IPv4 and IPv6 addresses, when each was last heard, and the services on it."""

    questions: tuple[Question, Question]
    addresses: dict[str, float] = field(default_factory=dict)
    instances: dict[bytes, None] = field(default_factory=dict)


def _key(name: str) -> bytes:
    """Return what a name is compared by: case counts for nothing in ASCII, and for something outside it."""
    return name.encode("utf-8", "replace").lower()  # RFC 6762 section 16
