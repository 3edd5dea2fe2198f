"""Decoding and judging flow export that is in memory already, beside an independent decoder of the same octets."""

import time
from collections.abc import Sequence
from datetime import UTC, datetime

import netflow

from benchmarks.flow_stream import HOUSE, RECORDS_A_DATAGRAM, datagrams, outside_rows
from benchmarks.measured import Measured, Size
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.listener import MAX_DATAGRAMS_A_TURN
from pattress.egress.flows.screening import screened
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.space import Space
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.tally import Tally

NS_AT_MOST = 1_000  # a record: a million of them a second
RATIO_AT_MOST = 1 / 20
NOW = datetime(2026, 5, 28, 12, tzinfo=UTC)


def measured(size: Size) -> tuple[list[Measured], str]:
    """Return the figures, and what is to be known of them."""
    messages = datagrams(size.of(full=250_000, tiny=2_000))
    records = len(messages) * RECORDS_A_DATAGRAM
    outside = outside_rows(messages)
    space = BulkSpace(Space(HOUSE))
    times = size.of(full=7, tiny=1)
    both_s: list[tuple[float, float]] = []
    for number in range(times):
        started_s = time.process_time()
        found = _decoded_and_judged(messages, space)
        ours_s = time.process_time() - started_s
        if found != (records, outside):
            raise RuntimeError(f"ours found {found}, there are {records} records, {outside} of the outside")
        theirs_s = float("inf")
        if number in (0, times - 1):  # once before, once after: it takes a hundred times as long
            started_s = time.process_time()
            decoded = _decoded(messages)
            theirs_s = time.process_time() - started_s
            if decoded != records:
                raise RuntimeError(f"netflow decoded {decoded} of {records} records")
        both_s.append((ours_s, theirs_s))
    ours_ns = min(one for one, _ in both_s) * 1e9 / records
    theirs_ns = min(other for _, other in both_s) * 1e9 / records
    figures = [
        Measured(what="decode and judge, from memory, a record", unit="ns", ours=ours_ns, ours_at_most=NS_AT_MOST),
        Measured(
            what="decode and judge, beside decoding alone, a record",
            unit="ns",
            ours=ours_ns,
            reference=theirs_ns,
            beside="netflow of PyPI",
            ratio_at_most=RATIO_AT_MOST,
        ),
    ]
    return figures, f"from memory: {1e3 / ours_ns:.2f} million records a second, {outside} of {records} outside"


def _decoded_and_judged(messages: Sequence[bytes], space: BulkSpace) -> tuple[int, int]:
    """Do what the listener does with what comes; return how many records there were, and how many of the outside."""
    decoder = FlowDecoder()
    tally = Tally()
    outside = 0
    for start in range(0, len(messages), MAX_DATAGRAMS_A_TURN):
        batch = [("198.51.100.1", 40_000, message) for message in messages[start : start + MAX_DATAGRAMS_A_TURN]]
        for columns in decoder.decode(batch, NOW, lambda _: tally):
            found = screened(columns, space)
            outside += len(traffic_of(columns, found.rows, "router", NOW, is_after_filter=False))
    if tally.lost or tally.refused:
        raise RuntimeError(f"not everything was taken: {tally}")
    return tally.heard, outside


def _decoded(messages: Sequence[bytes]) -> int:
    templates: dict[str, dict[int, object]] = {"netflow": {}, "ipfix": {}}
    return sum(len(netflow.parse_packet(message, templates).flows) for message in messages)
