"""Streams: what is known of each exporter's process and domain, from its templates to its sampling.

What belongs here: the state of a stream, and how many there may be. What does not: reading messages.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Final, NamedTuple

from pattress.egress.flows import fields, netflow5
from pattress.egress.flows.message import IPFIX, NETFLOW_5, NETFLOW_9
from pattress.egress.flows.pending import Pending
from pattress.egress.flows.sequence import BEFORE, EVERY_WAY, Sequence
from pattress.egress.flows.templates import Templates

# A house has one to three exporters with a stream or two each. A stream takes at most 1.9 MiB of templates and 1.1 MiB
# of what waits for them, which is 96 MiB in all if somebody who may send as all of them does everything to fill them.
MAX_STREAMS: Final = 32
MAX_STREAMS_OF_EXPORTER: Final = 16  # so that one cannot push the others out; each restart may bring a new port
MAX_SAMPLERS: Final = 64
# A loss of this size is one; a larger jump is a new count. In records, an outage of 100 s at 10 000 records a second.
GREATEST_GAP_RECORDS: Final = 1_000_000
GREATEST_GAP_PACKETS: Final = 30_000  # of about 30 records each


class StreamKey(NamedTuple):
    """What keeps the templates of two streams apart.

    The exporter's port belongs to it: two processes of one host may use the same numbers for different templates.
    """

    exporter: str
    port: int
    version: int
    domain: int


class Stream:
    """All that is known of one stream."""

    def __init__(self, key: StreamKey, at: datetime) -> None:
        self.key = key
        self.templates = Templates()
        self.pending = Pending()
        self.sequence = _sequence(key.version)
        self.sampling = 1
        self.last_use = 0
        self._samplings: dict[int, int] = {}
        self._packets = self._records = 0
        if key.version == NETFLOW_5:
            self.templates.learn(netflow5.shape(at))

    @property
    def records_a_packet(self) -> float:
        """How many records a packet holds on average, 1 where none could be counted yet."""
        return max(1.0, self._records / self._packets) if self._packets else 1.0

    def note_packet(self, records: int) -> None:
        """Take note of how many records a packet held."""
        self._packets += 1
        self._records += records

    def heed(self, options: Mapping[int, int]) -> None:
        """Take in what one options record says of the sampling, by element.

        Where several samplers are told, the stream counts as sampled as thinly as the thinnest of them.
        """
        sampling = _sampling_of(options)
        if sampling is None:
            return
        sampler = options.get(fields.SELECTOR, options.get(fields.SAMPLER, 0))
        if sampler in self._samplings or len(self._samplings) < MAX_SAMPLERS:
            self._samplings[sampler] = sampling
            self.sampling = max(self._samplings.values())


class Streams:
    """The streams that there are; the one that was silent longest makes room for a new one."""

    def __init__(self) -> None:
        self._streams: dict[tuple[str, int, int, int], Stream] = {}
        self._uses = 0

    def __iter__(self) -> Iterator[Stream]:
        return iter(self._streams.values())

    def of(self, key: StreamKey, at: datetime) -> tuple[Stream, int]:
        """Return a stream, made if need be, and how many held sets were given up to make room for it."""
        stream = self.get(key)
        if stream is not None:
            return stream, 0
        given_up = self._make_room(key.exporter)
        stream = self._streams[key] = Stream(key, at)
        stream.last_use = self._uses
        return stream, given_up

    def get(self, key: tuple[str, int, int, int]) -> Stream | None:
        """Return a stream that there is; a plain tuple does as its key, which is made in half the time."""
        self._uses += 1
        stream = self._streams.get(key)
        if stream is not None:
            stream.last_use = self._uses
        return stream

    def _make_room(self, exporter: str) -> int:
        own = [stream for stream in self._streams.values() if stream.key.exporter == exporter]
        if len(own) < MAX_STREAMS_OF_EXPORTER:
            if len(self._streams) < MAX_STREAMS:
                return 0
            own = list(self._streams.values())
        oldest = min(own, key=lambda stream: stream.last_use)
        del self._streams[oldest.key]
        return len(oldest.pending)


def _sequence(version: int) -> Sequence:
    if version == NETFLOW_9:
        return Sequence(GREATEST_GAP_PACKETS)
    return Sequence(GREATEST_GAP_RECORDS, EVERY_WAY if version == IPFIX else (BEFORE,))


def _sampling_of(options: Mapping[int, int]) -> int | None:
    """Return how many packets there are for each that is looked at, or None where the record does not say."""
    for element in (fields.SAMPLING_INTERVAL, fields.SAMPLER_INTERVAL):
        if element in options:
            return max(1, options[element])
    taken, skipped = options.get(fields.SAMPLING_TAKEN), options.get(fields.SAMPLING_SKIPPED)
    if taken and skipped is not None:
        return round((taken + skipped) / taken)
    size, population = options.get(fields.SAMPLING_SIZE), options.get(fields.SAMPLING_POPULATION)
    if size and population is not None:
        return max(1, round(population / size))
    return None
