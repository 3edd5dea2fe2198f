"""Packets between one device and one outside address, gathered until it is known whether they went both ways.

Flow export may tell the two directions apart and seconds apart. What belongs here: joining them, and who began. What
does not: whether it was allowed, and who the device is (`judge`).
"""

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from pattress.model.addresses import IPAddress
from pattress.model.encounter import Traffic

PAIRING = timedelta(seconds=120)  # within which the other direction is told, where an exporter's timeouts are short
MAX_CONVERSATIONS = 20_000  # about 600 bytes each, so 12 MB; a house has some hundreds at once. The oldest make room

ICMP, ICMP_V6, TCP = 1, 58, 6  # IANA protocol numbers
RST, ACK = 0x04, 0x10  # TCP control bits, RFC 9293 section 3.1
ICMP_ERRORS = frozenset({3, 4, 5, 11, 12})  # RFC 792
ICMP_V6_ERRORS = frozenset({1, 2, 3, 4})  # RFC 4443 section 2.1

Beginner = Literal["device", "outside"]
Key = tuple[IPAddress, IPAddress, int | None, int | None, int | None]


@dataclass(slots=True)
class Conversation:
    """What is known of one. Packets and octets are those not yet told of; `has_` says whether there ever were any."""

    device: IPAddress
    remote: IPAddress
    protocol: int | None
    device_port: int | None
    remote_port: int | None
    first_at: datetime
    last_at: datetime
    packets_out: int = 0
    octets_out: int = 0
    packets_in: int = 0
    octets_in: int = 0
    count: int = 0
    has_out: bool = False
    has_in: bool = False
    is_reset: bool = False  # a reset came, and
    is_refused: bool = False  # the device sent one: neither is taken for packets of a conversation
    initiator: Beginner | None = None
    counting_source: str | None = None  # of several sources that see it one counts, so that nothing counts twice
    sources: tuple[str, ...] = ()
    mac: str | None = None
    sampling: int = 1

    @property
    def began(self) -> Beginner:
        """Who began: as a source says, else the side with the higher port, which callers mostly have (RFC 6335)."""
        if self.initiator is not None:
            return self.initiator
        if self.device_port is not None and self.remote_port is not None and self.device_port != self.remote_port:
            return "device" if self.device_port > self.remote_port else "outside"
        return "device" if self.has_out or not self.has_in else "outside"

    @property
    def called_port(self) -> int | None:
        """The port on the side that was called."""
        return self.remote_port if self.began == "device" else self.device_port

    @property
    def has_waited(self) -> bool:
        """Whether the other direction had time to be told, of a conversation that goes on all the while."""
        return self.count > 0 and abs(self.last_at - self.first_at) > PAIRING

    def take_in(self, traffic: Traffic, *, is_outgoing: bool) -> None:
        """Add what a source says of it."""
        forward = (traffic.packets, traffic.octets, traffic.flags)
        back = (traffic.back_packets, traffic.back_octets, traffic.back_flags)
        sent, came = (forward, back) if is_outgoing else (back, forward)
        goes_back = traffic.is_answered is True or traffic.back_packets > 0 or traffic.back_octets > 0
        # A record of both directions may hold the second alone, and then says that nothing was answered.
        goes_forth = not (goes_back and traffic.is_answered is False and not traffic.packets and not traffic.octets)
        has_sent, has_come = (goes_forth, goes_back) if is_outgoing else (goes_back, goes_forth)
        if not self.count:
            self.first_at = traffic.at
        if has_sent:
            self.is_refused |= self._is_reset(sent[2])
            self.has_out |= not self._is_reset(sent[2])
        if has_come:
            self.is_reset |= self._is_reset(came[2])
            self.has_in |= not self._is_reset(came[2])
        if traffic.initiator is not None:
            self.initiator = "device" if (traffic.initiator == "sender") == is_outgoing else "outside"
        self.counting_source = self.counting_source or traffic.source
        if traffic.source == self.counting_source:
            self.packets_out += sent[0]
            self.octets_out += sent[1]
            self.packets_in += came[0]
            self.octets_in += came[1]
        if traffic.source not in self.sources:
            self.sources = (*self.sources, traffic.source)
        self.count += 1
        self.last_at = traffic.at
        self.mac = self.mac or (traffic.sender_mac if is_outgoing else None)
        self.sampling = max(self.sampling, traffic.sampling)

    def _is_reset(self, flags: int | None) -> bool:
        """Whether a direction was nothing but a reset, which refuses a connection (RFC 9293 section 3.5.2)."""
        return self.protocol == TCP and flags is not None and bool(flags & RST) and not flags & ~(RST | ACK)

    def told(self) -> None:
        """Take note that all of it was told: what comes next counts from nothing."""
        self.packets_out = self.octets_out = self.packets_in = self.octets_in = self.count = 0


class Conversations:
    """Those of the last minutes."""

    def __init__(self) -> None:
        self._open: OrderedDict[Key, Conversation] = OrderedDict()

    def take_in(self, traffic: Traffic, *, is_outgoing: bool) -> tuple[Conversation, list[Conversation]]:
        """Return the conversation that a piece of evidence belongs to, and those that are over by it.

        These are one between the same ends that nothing came of for the pairing time, and one that had to make room.
        """
        device, remote = (traffic.sender, traffic.receiver) if is_outgoing else (traffic.receiver, traffic.sender)
        ports = (traffic.sender_port, traffic.receiver_port)
        device_port, remote_port = ports if is_outgoing else ports[::-1]
        key = (device, remote, traffic.protocol, device_port, remote_port)
        found, over = self._open.pop(key, None), list[Conversation]()
        if found is not None and abs(traffic.at - found.last_at) > PAIRING:
            over.append(found)
            found = None
        if found is None:
            found = Conversation(
                device=device, remote=remote, protocol=traffic.protocol, device_port=device_port,
                remote_port=remote_port, first_at=traffic.at, last_at=traffic.at,
            )  # fmt: skip
        found.take_in(traffic, is_outgoing=is_outgoing)
        self._open[key] = found
        if len(self._open) > MAX_CONVERSATIONS:
            over.append(self._open.popitem(last=False)[1])
        return found, over

    def over(self, now: datetime | None) -> Iterator[Conversation]:
        """Yield, and forget, those of which nothing came for the pairing time; with None, all of them.

        A clock that was set back makes none of them immortal: one from the future is over, too.
        """
        while self._open:
            key, oldest = next(iter(self._open.items()))
            if now is not None and abs(now - oldest.last_at) <= PAIRING:
                return
            del self._open[key]
            yield oldest


def is_icmp_error(traffic: Traffic) -> bool:
    """Whether packets are error messages, which answer something that was sent."""
    errors = ICMP_ERRORS if traffic.protocol == ICMP else ICMP_V6_ERRORS if traffic.protocol == ICMP_V6 else ()
    return traffic.icmp_type in errors
