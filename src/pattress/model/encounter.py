"""Encounters of devices with the outside, and the evidence for them.

What belongs here: what sources say, and what it comes to. What does not: how a source is read, and the judging.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from pattress.model.addresses import IPAddress

EncounterKind = Literal["asked", "tried", "reached", "approached"]
"""A name looked up; packets sent that nothing answered; traffic both ways, or let through; packets from outside."""

HOUR = timedelta(hours=1)
Verdict = Literal["dropped", "let-through"]
Side = Literal["sender", "receiver"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Traffic:
    """What one source says of packets between two addresses.

    `sender` and `receiver` are those of the packets before any translation of addresses. Packets and octets count what
    went from sender to receiver, those with `back_` the opposite direction where the same record tells it; they are 0
    where nothing is told. `at` is by this host's clock. `flags` are TCP control bits
    (RFC 9293 section 3.1) or'ed over all packets of the direction. `verdict` is what a packet filter did, `initiator`
    who sent first, `is_answered` whether packets went both ways; each is None where the source does not say. One
    packet in `sampling` was looked at.
    """

    source: str
    at: datetime
    sender: IPAddress
    receiver: IPAddress
    protocol: int | None = None
    sender_port: int | None = None
    receiver_port: int | None = None
    icmp_type: int | None = None
    packets: int = 0
    octets: int = 0
    back_packets: int = 0
    back_octets: int = 0
    flags: int | None = None
    back_flags: int | None = None
    verdict: Verdict | None = None
    initiator: Side | None = None
    is_answered: bool | None = None
    sender_mac: str | None = None
    sampling: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookup:
    """A name that was asked for: lower case, without the last dot. `record_type` is the mnemonic, such as `AAAA`."""

    source: str
    at: datetime
    asker: IPAddress
    name: str
    record_type: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NameAnswer:
    """An address that a resolver gave for a name, through whatever aliases; `name` is the one that was asked for.

    `asker` is None where the log does not tie answers to questions.
    """

    source: str
    at: datetime
    name: str
    address: IPAddress
    asker: IPAddress | None = None


Evidence = Traffic | Lookup | NameAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class Encounter:
    """A device and something outside having to do with each other.

    `device` is its id, or `address:` and the address where nobody knows whose it is. `remote` is the outside address,
    or the name where all that is known is that it was `asked` for, or `*` for the many that were too many to be kept
    apart; `name` is the name that was looked up before.
    `port` is the one on the side that was called. `_out` counts what the device sent. `count` is how many pieces of
    evidence stand behind it, `sources` from where, `remark` what a person should know of how sure it is.
    """

    kind: EncounterKind
    device: str
    remote: str
    first_at: datetime
    last_at: datetime
    name: str | None = None
    protocol: int | None = None
    port: int | None = None
    packets_out: int = 0
    octets_out: int = 0
    packets_in: int = 0
    octets_in: int = 0
    count: int = 1
    sources: tuple[str, ...] = ()
    remark: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """How well one source was heard in one hour of UTC, `hour` being its start.

    `listened_s` is for how long anyone listened at all, from `listened_from` until `listened_until`, with or without
    gaps. `heard` counts what came, the last of it at `heard_at`; `lost` what is known to be missing, `refused` what was
    not taken, `unmatched` what concerned the outside but no device that could be told. The moments are None where there
    is none, or where it was not kept.
    """

    source: str
    hour: datetime
    listened_s: float
    listened_from: datetime | None = None
    listened_until: datetime | None = None
    heard_at: datetime | None = None
    heard: int = 0
    lost: int = 0
    refused: int = 0
    unmatched: int = 0

    def listened_within_s(self, since: datetime, until: datetime) -> float:
        """Return for how long anyone listened between two moments, at the least: its gaps may all lie there."""
        begin = self.hour if self.listened_from is None else self.listened_from
        end = self.hour + HOUR if self.listened_until is None else self.listened_until
        gaps_s = max((end - begin).total_seconds() - self.listened_s, 0.0)
        inside_s = (min(end, until) - max(begin, since)).total_seconds()
        return max(min(inside_s - gaps_s, self.listened_s), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Company:
    """How many hosts of the inside a device called in one hour of UTC, and at most how many ports of one of them."""

    device: str
    hour: datetime
    hosts: int
    ports: int


ToldKind = EncounterKind | Literal["unlike-before"]
"""Also: a device that calls far more hosts or ports of the inside than it ever did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a person was told, or will be: one device, one kind of encounter and one place outside, all told once.

    `place` is the network of the outside address, or the name where only that is known. `told_at` is None as long as
    nothing was said; `count` and `octets` are of all evidence since `first_at`, `told_count` is `count` as last said.
    """

    device: str
    kind: ToldKind
    place: str
    first_at: datetime
    last_at: datetime
    count: int
    octets: int = 0
    told_at: datetime | None = None
    told_count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """One message to a person: what is told, with the newest evidence; `sentence` where it is of another sort."""

    told: Told
    encounter: Encounter | None = None
    sentence: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTemplate:
    """A template of flow export as it came, so that it outlives a restart. `exporter_port` is the exporter's own."""

    exporter: str
    exporter_port: int
    version: int
    domain: int
    template: int
    is_options: bool
    record: bytes
    at: datetime
