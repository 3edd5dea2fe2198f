"""From datagrams of listed exporters to what matters of them: decoded, screened, and made into evidence.

What belongs here: that one way, the same for what comes live and for what is looked at again. What does not: sockets.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.screening import Call, screened
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tallies, Tally
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Traffic
from pattress.model.watching import WatchSource

Datagram = tuple[str, int, bytes]
"""The sender's address and port, and the payload."""

MAX_ROWS_AT_ONCE = 500  # that become objects, at some 20 microseconds each until they are judged: 10 ms


class FlowEvidence:
    """What flow export tells of a site. `sources` are by the address of their exporter."""

    def __init__(
        self, sources: Mapping[IPAddress, WatchSource], tallies: Tallies, decoder: FlowDecoder, space: BulkSpace
    ) -> None:
        self._by_sender = {str(address): one for address, one in sources.items()}
        self._tallies = tallies
        self._decoder = decoder
        self._space = space

    def of(
        self, datagrams: Sequence[Datagram], now: datetime
    ) -> Iterator[tuple[WatchSource, list[Traffic], list[Call]]]:
        """Yield for each source what concerns the outside, and which hosts of the inside devices called.

        Every sender must be that of a source.
        """
        tallies = {sender: self._tallies.of(source.name) for sender, source in self._by_sender.items()}
        # The decoder may remember senders that the site no longer lists; what it says of them is of no interest.
        others = Tally()
        for columns in self._decoder.decode(datagrams, now, lambda sender: tallies.get(sender, others)):
            source = self._by_sender[columns.exporter]
            found = screened(columns, self._space)
            self._tallies.of(source.name).unmatched += found.unmatched
            calls = found.calls
            for start in range(0, max(len(found.rows), 1), MAX_ROWS_AT_ONCE):
                rows = found.rows[start : start + MAX_ROWS_AT_ONCE]
                traffic = traffic_of(columns, rows, source.name, now, is_after_filter=source.is_after_filter)
                if traffic or calls:
                    yield source, traffic, calls
                calls = []
