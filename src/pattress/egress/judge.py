"""Evidence into encounters: what of all that sources say has to do with the outside, and how far it went.

What belongs here: the judgement of `asked`, `tried`, `reached` and `approached`. What does not: reading sources,
keeping encounters, telling a person.

- Dropped by a packet filter: `tried`, or `approached` where the outside sent it.
- Let through on the way out, or packets both ways: `reached`. A reset alone is no answer: packet filters send them.
- Out alone, with no word of a filter: `tried`, once the other direction had time to be told; `approached` where it can
  only be an answer (from a lower port to a higher).
- In alone: `reached` where it can only be an answer (from a lower port to a higher), else `approached`.
"""

from collections.abc import Iterator
from datetime import datetime

from pattress.egress.allowances import Allowances
from pattress.egress.company import CompanyTable
from pattress.egress.conversations import PAIRING, Conversation, Conversations, is_icmp_error
from pattress.egress.names import NameTable
from pattress.egress.space import Space
from pattress.egress.tally import Tallies
from pattress.egress.whereabouts import Whereabouts
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Company, Encounter, EncounterKind, Evidence, Lookup, NameAnswer, Traffic
from pattress.model.site import Networks

MAX_SENDERS = 4_096  # addresses of devices of which it is known when they last sent outside; about 200 bytes each

ONLY_RESET = "a reset came back: the packet filter's own, or that of the other side"
ONLY_ANSWER = "only the answer was seen"
FROM_OUTSIDE = "begun from outside"
REFUSED = "the device refused it"
ERROR_BACK = "an error message came back from outside: what was sent had left"


class Judge:
    """Takes evidence in and gives encounters out. The time is that of the evidence."""

    def __init__(
        self, networks: Networks, space: Space, allowances: Allowances, whereabouts: Whereabouts, tallies: Tallies
    ) -> None:
        self._names_inside = networks.names
        self._space = space
        self._allowances = allowances
        self._whereabouts = whereabouts
        self._tallies = tallies
        self._conversations = Conversations()
        self._names = NameTable()
        self._company = CompanyTable()
        self._sent_out: dict[IPAddress, datetime] = {}

    def know(self, whereabouts: Whereabouts) -> None:
        """Take note of where devices are now."""
        self._whereabouts = whereabouts

    def judge(self, evidence: Evidence) -> list[Encounter]:
        """Return what a piece of evidence shows, as far as it can be told now; the rest comes from `settled`."""
        match evidence:
            case Traffic():
                return list(self._traffic(evidence))
            case Lookup():
                return list(self._lookup(evidence))
            case NameAnswer():
                self._names.add(evidence)
                return []

    def settled(self, now: datetime | None) -> list[Encounter]:
        """Return what had to wait for its other direction, and has waited long enough; with None, all of it."""
        return [one for conversation in self._conversations.over(now) for one in self._settle(conversation)]

    def call(self, device: IPAddress, host: IPAddress, port: int | None, at: datetime) -> None:
        """Take note that an address of the device networks called a host of the inside."""
        if device not in self._whereabouts.own:
            self._company.call(self._whereabouts.owner(device).device, host, port, at)

    def take_company(self) -> list[Company]:
        """Return the present hour of each device that called somebody new inside since this was last asked."""
        return self._company.take_changed()

    def _traffic(self, traffic: Traffic) -> Iterator[Encounter]:
        sides = self._space.side(traffic.sender), self._space.side(traffic.receiver)
        if "outside" not in sides:
            if sides[0] == "device" and is_call(traffic.sender_port, traffic.receiver_port):
                self.call(traffic.sender, traffic.receiver, traffic.receiver_port, traffic.at)
            return
        if "device" not in sides:
            self._tallies.of(traffic.source).unmatched += 1
            return
        is_outgoing = sides[0] == "device"
        device = traffic.sender if is_outgoing else traffic.receiver
        if device in self._whereabouts.own:
            return
        if is_outgoing:
            self._note_sending(device, traffic.at)
        elif is_icmp_error(traffic):
            yield from self._error(traffic, device)
            return
        conversation, over = self._conversations.take_in(traffic, is_outgoing=is_outgoing)
        for one in over:
            yield from self._settle(one)
        if traffic.verdict == "dropped":
            yield from self._told(conversation, "tried" if is_outgoing else "approached")
        elif conversation.has_out and conversation.has_in:
            yield from self._reached(conversation)
        elif traffic.verdict == "let-through" and is_outgoing:
            yield from self._told(conversation, "reached")
        elif conversation.has_waited:
            yield from self._settle(conversation)

    def _note_sending(self, device: IPAddress, at: datetime) -> None:
        self._sent_out.pop(device, None)
        self._sent_out[device] = at
        if len(self._sent_out) > MAX_SENDERS:
            del self._sent_out[next(iter(self._sent_out))]

    def _error(self, traffic: Traffic, device: IPAddress) -> Iterator[Encounter]:
        """An error message from outside answers something, where the device sent anything outside of late."""
        sent_at = self._sent_out.get(device)
        conversation = Conversation(
            device=device, remote=traffic.sender, protocol=traffic.protocol, device_port=None, remote_port=None,
            first_at=traffic.at, last_at=traffic.at,
        )  # fmt: skip
        conversation.take_in(traffic, is_outgoing=False)
        if traffic.verdict != "dropped" and sent_at is not None and abs(traffic.at - sent_at) <= PAIRING:
            conversation.initiator = "device"
            yield from self._told(conversation, "reached", ERROR_BACK)
        else:
            yield from self._told(conversation, "approached")

    def _settle(self, one: Conversation) -> Iterator[Encounter]:
        """What one conversation comes to, of which no more is expected."""
        if one.count == 0:
            return
        if one.has_out and one.has_in:
            yield from self._reached(one)
        elif one.began == "outside":
            yield from self._told(one, "approached", REFUSED if one.is_refused else None)
        elif one.has_out:
            sampled = f"one packet in {one.sampling} is looked at, an answer may have been missed"
            remark = ONLY_RESET if one.is_reset else sampled if one.sampling > 1 else None
            yield from self._told(one, "tried", remark)
        elif one.has_in:
            yield from self._told(one, "reached", ONLY_ANSWER)
        else:
            yield from self._told(one, "tried", ONLY_RESET)

    def _reached(self, one: Conversation) -> Iterator[Encounter]:
        yield from self._told(one, "reached", FROM_OUTSIDE if one.began == "outside" else None)

    def _told(self, one: Conversation, kind: EncounterKind, remark: str | None = None) -> Iterator[Encounter]:
        owner = self._whereabouts.owner(one.device, one.mac)
        # A device asks from one of its addresses, and goes there from another: by IPv6 what was asked for by IPv4.
        names = self._names.of(
            one.remote,
            lambda asker: asker == one.device or self._whereabouts.owner(asker).device == owner.device,
            one.last_at,
        )
        is_allowed = self._allowances.allowed(
            point=owner.point, kind=owner.kind, remote=one.remote, names=names, protocol=one.protocol,
            port=one.called_port, is_inbound=one.began == "outside",
        )  # fmt: skip
        if is_allowed is None:
            yield Encounter(
                kind=kind, device=owner.device, remote=str(one.remote), name=names[0] if names else None,
                protocol=one.protocol, port=one.called_port, first_at=one.first_at, last_at=one.last_at,
                packets_out=one.packets_out, octets_out=one.octets_out, packets_in=one.packets_in,
                octets_in=one.octets_in, count=one.count, sources=one.sources, remark=remark,
            )  # fmt: skip
        one.told()

    def _lookup(self, lookup: Lookup) -> Iterator[Encounter]:
        if self._space.side(lookup.asker) != "device" or lookup.asker in self._whereabouts.own:
            return
        if _leads_inside(lookup.name, self._names_inside):
            return
        owner = self._whereabouts.owner(lookup.asker)
        if self._allowances.allows_name(point=owner.point, kind=owner.kind, name=lookup.name) is None:
            yield Encounter(
                kind="asked", device=owner.device, remote=lookup.name, name=lookup.name, first_at=lookup.at,
                last_at=lookup.at, sources=(lookup.source,),
            )  # fmt: skip


def is_call(sender_port: int | None, receiver_port: int | None) -> bool:
    """Whether packets go to a service, not back from one: callers mostly have the higher port (RFC 6335)."""
    return sender_port is None or receiver_port is None or sender_port > receiver_port


def _leads_inside(name: str, domains: tuple[str, ...]) -> bool:
    """Whether a name is the site's own, a single label, or one of the reverse trees, which name no place to go to."""
    return "." not in name or any(name == one or name.endswith(f".{one}") for one in (*domains, "arpa"))
