"""From datagrams of flow export to columns.

What belongs here: which message changes what is known of its stream, and which records wait for what. What does not:
octets of the protocols, sockets, clocks.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol

from pattress.egress.flows import ipfix, netflow5, netflow9
from pattress.egress.flows.columns import Columns, Part, columns_of
from pattress.egress.flows.message import IPFIX, NETFLOW_5, NETFLOW_9, FlowSet, Message
from pattress.egress.flows.pending import Held
from pattress.egress.flows.records import Cut, cut, options_in
from pattress.egress.flows.streams import Stream, StreamKey, Streams
from pattress.egress.flows.templates import FIRST_TEMPLATE, Template, Withdrawal
from pattress.egress.tally import Tally
from pattress.model.encounter import KeptTemplate

# Of a batch of at most a few hundred datagrams. Exporters send some 20 templates at a time; each costs 3 to 40 µs, so
# that a sender of nothing else costs 0.2 s. Records of one template are decoded at once, for about 100 µs.
MAX_TEMPLATES_OF_BATCH: Final = 4096
MAX_GROUPS_OF_BATCH: Final = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """How many data sets of a stream wait for their templates, and since when."""

    exporter: str
    domain: int
    count: int
    since: datetime


class FlowDecoder:
    """Decodes IPFIX, NetFlow v9 and v5 of any number of exporters; `kept` are the templates of an earlier run."""

    def __init__(self, kept: Iterable[KeptTemplate] = ()) -> None:
        self._streams = Streams()
        for template in kept:
            self._restore(template)

    def decode(
        self, datagrams: Sequence[tuple[str, int, bytes]], now: datetime, tally_of: Callable[[str], Tally]
    ) -> list[Columns]:
        """Return the flow records of datagrams, each of which is the sender's address and port, and the payload.

        Nothing is raised for what is malformed: it is counted in the tally of its sender, as are the data records that
        were heard and those that are missing. Data sets whose template never came are missing: each counts as one.
        """
        batch = _Batch(now)
        for sender, port, payload in datagrams:
            tally = tally_of(sender)
            read = _READERS.get(payload[:2])
            message = None if read is None else read(payload)
            if message is None:
                tally.refused += 1
                continue
            stream = self._streams.get((sender, port, message.version, message.domain))
            if stream is None:
                key = StreamKey(sender, port, message.version, message.domain)
                stream, given_up = self._streams.of(key, now)
                tally.lost += given_up
            tally.refused += message.faults
            batch.follow(stream, message, payload, tally)
        for stream in self._streams:
            given_up = stream.pending.expire(now)
            if given_up:
                tally_of(stream.key.exporter).lost += given_up
        return batch.columns()

    def templates(self) -> list[KeptTemplate]:
        """Return the templates that are known, to be given to the decoder of the next run."""
        return [
            KeptTemplate(
                exporter=stream.key.exporter,
                exporter_port=stream.key.port,
                version=stream.key.version,
                domain=stream.key.domain,
                template=template.id,
                is_options=template.is_options,
                record=template.record,
                at=template.at,
            )
            for stream in self._streams
            if stream.key.version != NETFLOW_5
            for template in stream.templates
        ]

    def waiting(self) -> list[Waiting]:
        """Return the streams some of whose data wait for templates."""
        return [
            Waiting(exporter=stream.key.exporter, domain=stream.key.domain, count=len(stream.pending), since=since)
            for stream in self._streams
            if (since := stream.pending.since) is not None
        ]

    def _restore(self, kept: KeptTemplate) -> None:
        """Take in a template of an earlier run; one that does not read is left, for it will be told again."""
        key = StreamKey(kept.exporter, kept.exporter_port, kept.version, kept.domain)
        read = _TEMPLATES.get(kept.version)
        if read is None:
            return
        for template in read(kept.record, 0, len(kept.record), is_options=kept.is_options, at=kept.at):
            if isinstance(template, Template):
                self._streams.of(key, kept.at)[0].templates.learn(template)


class _ReadTemplates(Protocol):
    def __call__(
        self, payload: bytes, start: int, end: int, *, is_options: bool, at: datetime
    ) -> Iterable[Template | Withdrawal | None]: ...


class _Batch:
    """The records of a batch, gathered by what is decoded together."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        self._gathered: dict[tuple[Template, int], tuple[Stream, list[Part]]] = {}
        self._templates_left = MAX_TEMPLATES_OF_BATCH

    def follow(self, stream: Stream, message: Message, payload: bytes, tally: Tally) -> None:
        """Take in the sets of a message in their order, for a template holds from where it stands."""
        if message.sampling is not None:
            stream.sampling = message.sampling
        count = options = 0
        is_countable = not message.faults
        for number, start, end in message.sets:
            if number < FIRST_TEMPLATE:
                self._learn(stream, (number, start, end), payload, tally)
                continue
            template = stream.templates.get(number)
            if template is not None:
                taken = self._take(stream, template, cut(template, payload, start, end), self.now, tally)
                count += taken
                if template.is_options:
                    options += taken
            else:
                tally.lost += stream.pending.hold(Held(number, payload[start:end], self.now))
                is_countable = False
        if message.version == NETFLOW_9:
            if is_countable:
                stream.note_packet(count)
            # Numbers are of packets, whatever is in them; heard are records, of which a share of losses is told.
            lost = round(stream.sequence.follow(message.sequence, 1) * stream.records_a_packet)
        else:
            lost = stream.sequence.follow(message.sequence, count if is_countable else None, options)
        if lost:
            # A latecomer may take back what was counted, and told, before the tally began anew.
            tally.lost = max(0, tally.lost + lost)

    def columns(self) -> list[Columns]:
        """Return all that was gathered."""
        return [
            columns
            for (template, sampling), (stream, parts) in self._gathered.items()
            for columns in columns_of(template, parts, exporter=stream.key.exporter, sampling=sampling)
        ]

    def _learn(self, stream: Stream, flow_set: FlowSet, payload: bytes, tally: Tally) -> None:
        """Take in a set of templates, and the data that waited for them. Other sets are not used by any standard."""
        kinds = _TEMPLATE_SETS.get(stream.key.version)
        number, start, end = flow_set
        if kinds is None or number not in kinds:
            tally.refused += 1
            return
        read = _TEMPLATES[stream.key.version]
        is_options = number == kinds[1]
        for told in read(payload, start, end, is_options=is_options, at=self.now):
            self._templates_left -= 1
            if told is None or self._templates_left < 0:
                tally.refused += 1
                if self._templates_left < 0:
                    return
            elif isinstance(told, Withdrawal):
                stream.templates.withdraw(told)
            else:
                if not stream.templates.learn(told):
                    tally.refused += 1
                for held in stream.pending.take(told.id):
                    found = cut(told, held.content, 0, len(held.content))
                    self._take(stream, told, found, held.heard_at, tally)

    def _take(self, stream: Stream, template: Template, found: Cut, heard_at: datetime, tally: Tally) -> int:
        """Take in the records of a set, and return how many they are."""
        records, count, faults = found
        tally.refused += faults
        tally.heard += count
        if not count:
            return 0
        if template.is_options:
            for options in options_in(template, found):
                stream.heed(options)
        elif template.has_ipv4 or template.has_ipv6:
            self._gather(stream, template, Part(records, count, heard_at), tally)
        return count

    def _gather(self, stream: Stream, template: Template, part: Part, tally: Tally) -> None:
        key = (template, stream.sampling)
        gathered = self._gathered.get(key)
        if gathered is not None:
            gathered[1].append(part)
        elif len(self._gathered) < MAX_GROUPS_OF_BATCH:
            self._gathered[key] = (stream, [part])
        else:
            tally.refused += 1


_READERS: dict[bytes, Callable[[bytes], Message | None]] = {
    IPFIX.to_bytes(2): ipfix.read_message,
    NETFLOW_9.to_bytes(2): netflow9.read_message,
    NETFLOW_5.to_bytes(2): netflow5.read_message,
}
_TEMPLATES: dict[int, _ReadTemplates] = {IPFIX: ipfix.templates_in, NETFLOW_9: netflow9.templates_in}
_TEMPLATE_SETS = {
    IPFIX: (ipfix.TEMPLATE_SET, ipfix.OPTIONS_SET),
    NETFLOW_9: (netflow9.TEMPLATE_SET, netflow9.OPTIONS_SET),
}
