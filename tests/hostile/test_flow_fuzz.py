"""No octets from the network make the decoder of flow export raise, hang or grow."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hostile.fuzz_flows import corpus, run
from pattress.egress.flows.decoder import MAX_TEMPLATES_OF_BATCH, FlowDecoder
from pattress.egress.flows.pending import MAX_HELD_SETS
from pattress.egress.flows.streams import MAX_STREAMS
from pattress.egress.flows.templates import MAX_TEMPLATES
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.tally import Tally
from unit.egress.flows.export import NOW, ROUTER, flow_set, ipfix_message, template

VERSIONS = st.sampled_from([b"\x00\x05", b"\x00\x09", b"\x00\x0a", b""])
RANDOM = st.builds(bytes.__add__, VERSIONS, st.binary(max_size=300))


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """A valid message with some octets replaced, and cut or lengthened."""
    payload = bytearray(draw(st.sampled_from(corpus())))
    for place, octet in draw(st.lists(st.tuples(st.integers(0, len(payload) - 1), st.integers(0, 255)), max_size=12)):
        payload[place] = octet
    return bytes(payload[: draw(st.integers(0, len(payload)))]) + draw(st.binary(max_size=20))


@st.composite
def sets(draw: st.DrawFn) -> bytes:
    """A message whose length fits, with sets of any content."""
    numbers = st.sampled_from([0, 1, 2, 3, 4, 255, 256, 257, 300, 65_535])
    found = draw(st.lists(st.tuples(numbers, st.binary(max_size=80)), max_size=6))
    return ipfix_message(*(flow_set(number, content) for number, content in found))


@settings(max_examples=200, deadline=None)
@given(st.lists(RANDOM | mutated() | sets(), max_size=12))
def test_nothing_makes_it_raise_and_all_is_counted(payloads: list[bytes]) -> None:
    decoder, tally = FlowDecoder(), Tally()

    found = decoder.decode([(ROUTER, 4000, payload) for payload in payloads], NOW, lambda _: tally)

    for columns in found:
        assert len(columns.sender) == len(columns.receiver) == columns.count
        rows = np.arange(min(columns.count, 20))
        assert len(traffic_of(columns, rows, "router", NOW, is_after_filter=True)) == len(rows)
    assert sum(columns.count for columns in found) <= tally.heard
    assert FlowDecoder(decoder.templates()).templates() == decoder.templates()


@settings(max_examples=100, deadline=None)
@given(st.lists(RANDOM | mutated() | sets(), max_size=8))
def test_datagrams_decode_alone_as_in_one_batch(payloads: list[bytes]) -> None:
    together, apart = (FlowDecoder(), Tally()), (FlowDecoder(), Tally())

    at_once = together[0].decode([(ROUTER, 1, payload) for payload in payloads], NOW, lambda _: together[1])
    rows = 0
    for payload in payloads:
        rows += sum(columns.count for columns in apart[0].decode([(ROUTER, 1, payload)], NOW, lambda _: apart[1]))

    assert sum(columns.count for columns in at_once) == rows
    assert together[1] == apart[1]
    assert together[0].templates() == apart[0].templates()


def test_thousands_of_random_and_mutated_inputs_leave_bounded_tables() -> None:
    outcome = run(5_000, seed=3954)

    assert outcome.inputs == 5_000
    assert outcome.rows > 1_000
    assert outcome.tally.refused > 1_000
    assert outcome.templates <= MAX_STREAMS * MAX_TEMPLATES
    assert outcome.held <= MAX_STREAMS * MAX_HELD_SETS


def test_the_largest_datagram_of_the_shortest_records_is_read() -> None:
    decoder, tally = FlowDecoder(), Tally()
    most = 65_507 - 16 - 12 - 4
    datagram = ipfix_message(template(256, [(4, 1)]), flow_set(256, bytes(most)))

    found = decoder.decode([(ROUTER, 1, datagram)], NOW, lambda _: tally)

    assert (found, tally.heard) == ([], most)


def test_a_flood_of_templates_is_bounded_in_a_batch() -> None:
    """Each datagram redefines templates and has data of them, as a sender of nothing else might."""
    decoder, tally = FlowDecoder(), Tally()
    pair = [
        template(256, [(8, 4), (12, 4)]),
        flow_set(256, bytes(8)),
        template(256, [(12, 4), (8, 4)]),
        flow_set(256, bytes(8)),
    ]
    datagram = ipfix_message(*(pair * 1000))

    found = decoder.decode([(ROUTER, 1, datagram)] * 8, NOW, lambda _: tally)

    assert len(found) <= 1024
    assert tally.heard == 8 * 2000
    assert tally.refused >= 8 * 2000 - MAX_TEMPLATES_OF_BATCH
