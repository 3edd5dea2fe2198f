"""What becomes of datagrams, whole streams of them: templates, data before them, losses, restarts, two exporters."""

import struct
from datetime import timedelta

import pytest

from pattress.egress.flows import decoder as decoder_module
from pattress.egress.flows.decoder import FlowDecoder, Waiting
from pattress.egress.flows.pending import MAX_HELD, MAX_HELD_OCTETS, MAX_HELD_SETS
from pattress.egress.flows.streams import MAX_STREAMS, MAX_STREAMS_OF_EXPORTER
from pattress.egress.flows.templates import MAX_FIELDS, MAX_TEMPLATES
from pattress.egress.tally import Tally
from unit.egress.flows.export import (
    NOW,
    PLAIN,
    PORT,
    ROUTER,
    Collector,
    FieldTold,
    flow_set,
    ipfix_message,
    netflow5_message,
    netflow9_message,
    options_template,
    options_template9,
    pairs,
    plain_record,
    record,
    record5,
    template,
    withdrawal,
)

HALL, FAR, OTHER = "192.0.2.17", "203.0.113.9", "198.51.100.23"
LEARN = template(256, PLAIN)
TO_FAR, TO_OTHER = plain_record(HALL, FAR), plain_record(HALL, OTHER)
TURNED: list[FieldTold] = [(12, 4), (8, 4), (2, 4), (1, 4)]


def test_data_and_template_in_one_message_are_decoded() -> None:
    collector = Collector()

    found = collector.traffic(ipfix_message(LEARN, flow_set(256, TO_FAR + TO_OTHER)))

    assert pairs(found) == [(HALL, FAR), (HALL, OTHER)]
    assert collector.tally == Tally(heard=2)


def test_records_of_one_template_in_many_datagrams_are_one_columns_in_their_order() -> None:
    collector = Collector()
    collector.hear(ipfix_message(LEARN))

    [columns] = collector.hear(*(ipfix_message(flow_set(256, TO_FAR), sequence=number) for number in range(50)))

    assert columns.count == 50
    assert collector.tally == Tally(heard=50)


def test_several_sets_of_several_templates_are_each_decoded_by_their_own() -> None:
    collector = Collector()
    turned = record(TURNED, {8: HALL, 12: OTHER, 2: 1})

    found = collector.traffic(
        ipfix_message(LEARN, template(300, TURNED), flow_set(256, TO_FAR), flow_set(300, turned), flow_set(256, TO_FAR))
    )

    assert pairs(found) == [(HALL, FAR), (HALL, FAR), (HALL, OTHER)]


@pytest.mark.parametrize("padding", [0, 1, 3, 15])
def test_padding_shorter_than_a_record_is_left(padding: int) -> None:
    collector = Collector()

    found = collector.traffic(ipfix_message(LEARN, flow_set(256, TO_FAR, padding=padding)))

    assert pairs(found) == [(HALL, FAR)]
    assert collector.tally == Tally(heard=1)


# Templates


def test_a_template_that_changes_in_mid_stream_holds_from_where_it_stands() -> None:
    collector = Collector()
    turned = record(TURNED, {8: HALL, 12: FAR, 2: 1})

    found = collector.traffic(
        ipfix_message(LEARN, flow_set(256, TO_FAR), template(256, TURNED), flow_set(256, turned)),
        ipfix_message(flow_set(256, turned), sequence=2),
        ipfix_message(LEARN, flow_set(256, TO_FAR), sequence=3),
    )

    assert pairs(found) == [(HALL, FAR)] * 4


def test_a_template_that_is_told_again_unchanged_leaves_its_records_together() -> None:
    collector = Collector()
    datagrams = [ipfix_message(LEARN, flow_set(256, TO_FAR), sequence=number) for number in range(10)]

    [columns] = collector.hear(*datagrams)

    assert columns.count == 10


@pytest.mark.parametrize("taken_back", [withdrawal(256), withdrawal(2)])
def test_data_of_a_withdrawn_template_waits_for_a_new_one(taken_back: bytes) -> None:
    collector = Collector()

    found = collector.traffic(ipfix_message(LEARN, taken_back, flow_set(256, TO_FAR)))

    assert found == []
    assert collector.decoder.templates() == []
    assert collector.decoder.waiting() == [Waiting(exporter=ROUTER, domain=1, count=1, since=NOW)]


def test_a_withdrawal_of_all_options_templates_leaves_the_others() -> None:
    collector = Collector()
    options = options_template(300, [(149, 4)], [(34, 4)])

    collector.hear(ipfix_message(LEARN, options, withdrawal(3, kind=3)))

    assert [kept.template for kept in collector.decoder.templates()] == [256]


def test_a_withdrawal_of_another_kind_or_of_nothing_changes_nothing() -> None:
    collector = Collector()

    collector.hear(ipfix_message(LEARN, withdrawal(256, kind=3), withdrawal(999)))

    assert [kept.template for kept in collector.decoder.templates()] == [256]
    assert collector.tally == Tally()


def test_two_exporters_with_the_same_numbers_keep_their_own_templates() -> None:
    collector = Collector()
    turned = record(TURNED, {8: HALL, 12: OTHER, 2: 1})

    collector.hear(ipfix_message(LEARN), exporter="192.0.2.1")
    collector.hear(ipfix_message(template(256, TURNED)), exporter="192.0.2.3")
    first = collector.traffic(ipfix_message(flow_set(256, TO_FAR)), exporter="192.0.2.1")
    second = collector.traffic(ipfix_message(flow_set(256, turned)), exporter="192.0.2.3")

    assert (pairs(first), pairs(second)) == ([(HALL, FAR)], [(HALL, OTHER)])


@pytest.mark.parametrize(("port", "domain"), [(PORT + 1, 1), (PORT, 2)])
def test_two_processes_of_one_host_and_two_domains_keep_their_own_templates(port: int, domain: int) -> None:
    collector = Collector()
    turned = record(TURNED, {8: HALL, 12: OTHER, 2: 1})

    collector.hear(ipfix_message(LEARN))
    collector.hear(ipfix_message(template(256, TURNED), domain=domain), port=port)
    first = collector.traffic(ipfix_message(flow_set(256, TO_FAR)))
    second = collector.traffic(ipfix_message(flow_set(256, turned), domain=domain), port=port)

    assert (pairs(first), pairs(second)) == ([(HALL, FAR)], [(HALL, OTHER)])


def test_the_same_number_in_ipfix_and_in_netflow_9_is_two_templates() -> None:
    collector = Collector()

    collector.hear(ipfix_message(LEARN), netflow9_message(template(256, TURNED, kind=0)))

    assert [(kept.version, kept.template) for kept in collector.decoder.templates()] == [(10, 256), (9, 256)]


# Keeping


def test_templates_survive_a_restart() -> None:
    before = Collector()
    before.hear(
        ipfix_message(LEARN, options_template(300, [(149, 4)], [(305, 4), (306, 4)])),
        netflow9_message(template(256, PLAIN, kind=0), options_template9(300, [(1, 4)], [(34, 4)])),
    )
    after = Collector(FlowDecoder(before.decoder.templates()))

    found = after.traffic(
        ipfix_message(flow_set(300, struct.pack("!III", 1, 1, 99)), flow_set(256, TO_FAR)),
        netflow9_message(flow_set(300, struct.pack("!II", 1, 25)), flow_set(256, TO_OTHER)),
    )

    assert pairs(found) == [(HALL, FAR), (HALL, OTHER)]
    assert [traffic.sampling for traffic in found] == [100, 25]
    assert after.decoder.templates() == before.decoder.templates()
    assert after.decoder.waiting() == []


def test_a_kept_template_that_does_not_read_is_left() -> None:
    before = Collector()
    before.hear(ipfix_message(LEARN))
    [kept] = before.decoder.templates()

    damaged = [
        type(kept)(
            exporter=ROUTER,
            exporter_port=PORT,
            version=version,
            domain=1,
            template=256,
            is_options=False,
            record=octets,
            at=NOW,
        )
        for version, octets in [(10, kept.record[:-1]), (10, b""), (7, kept.record), (9, b"\xff" * 40)]
    ]

    assert FlowDecoder(damaged).templates() == []


# Data before its template


def test_data_that_came_before_its_template_is_decoded_once_that_comes_and_at_its_own_time() -> None:
    collector = Collector()
    later = NOW + timedelta(minutes=15)

    early = collector.traffic(ipfix_message(flow_set(256, TO_FAR)))
    waiting = collector.decoder.waiting()
    found = collector.traffic(ipfix_message(LEARN, flow_set(256, TO_OTHER), sequence=1), now=later)

    assert early == []
    assert waiting == [Waiting(exporter=ROUTER, domain=1, count=1, since=NOW)]
    assert [(str(traffic.receiver), traffic.at) for traffic in found] == [(FAR, NOW), (OTHER, later)]
    assert collector.decoder.waiting() == []
    assert collector.tally == Tally(heard=2)


def test_data_waits_for_its_own_template_and_no_other() -> None:
    collector = Collector()
    collector.hear(ipfix_message(flow_set(256, TO_FAR), flow_set(300, TO_OTHER)))

    found = collector.traffic(ipfix_message(template(300, PLAIN)))

    assert pairs(found) == [(HALL, OTHER)]
    assert [waiting.count for waiting in collector.decoder.waiting()] == [1]


def test_data_waits_for_an_hour_and_is_then_given_up_and_counted_as_lost() -> None:
    collector = Collector()
    collector.hear(ipfix_message(flow_set(256, TO_FAR)))

    collector.hear(now=NOW + MAX_HELD)
    just_in_time = len(collector.decoder.waiting())
    collector.hear(now=NOW + MAX_HELD + timedelta(seconds=1))

    assert just_in_time == 1
    assert collector.decoder.waiting() == []
    assert collector.tally == Tally(lost=1)


def test_options_that_came_before_their_template_are_heeded_once_that_comes() -> None:
    collector = Collector()
    options = options_template(300, [(149, 4)], [(34, 4)])
    collector.hear(ipfix_message(flow_set(300, struct.pack("!II", 1, 40))))

    [columns] = collector.hear(ipfix_message(options, LEARN, flow_set(256, TO_FAR)))

    assert columns.sampling == 40


def test_waiting_data_is_bounded_in_octets_and_the_oldest_goes_first() -> None:
    collector = Collector()
    large = TO_FAR * 4000
    most = MAX_HELD_OCTETS // len(large)

    for number in range(most + 3):
        collector.hear(ipfix_message(flow_set(256, large)), now=NOW + timedelta(seconds=number))

    [waiting] = collector.decoder.waiting()
    assert (waiting.count, waiting.since) == (most, NOW + timedelta(seconds=3))
    assert collector.tally == Tally(lost=3)


def test_waiting_data_is_bounded_in_sets() -> None:
    collector = Collector()

    collector.hear(ipfix_message(*[flow_set(256, TO_FAR)] * (MAX_HELD_SETS + 5)))

    assert [waiting.count for waiting in collector.decoder.waiting()] == [MAX_HELD_SETS]
    assert collector.tally == Tally(lost=5)


# Losses


def test_a_lost_ipfix_is_counted_in_records() -> None:
    collector = Collector()

    collector.hear(
        ipfix_message(LEARN, flow_set(256, TO_FAR * 3), sequence=100),
        ipfix_message(flow_set(256, TO_FAR), sequence=110),
    )

    assert collector.tally == Tally(heard=4, lost=7)


def test_a_lost_netflow_9_packet_is_counted_in_the_records_that_packets_hold() -> None:
    collector = Collector()
    learn = template(256, PLAIN, kind=0)
    held = netflow9_message(flow_set(257, TO_FAR * 2), sequence=99)

    collector.hear(
        held,
        netflow9_message(learn, flow_set(256, TO_FAR * 3), sequence=100),
        netflow9_message(flow_set(256, TO_FAR * 9), sequence=103),
    )
    assert collector.tally == Tally(heard=12, lost=12)

    collector.hear(netflow9_message(flow_set(256, TO_FAR * 6), sequence=101))
    assert collector.tally == Tally(heard=18, lost=6), "a latecomer takes back what it was counted as"


def test_a_lost_netflow_5_packet_is_counted_in_flows() -> None:
    collector = Collector()
    row = record5(HALL, FAR)

    collector.hear(netflow5_message(row, row, sequence=100), netflow5_message(row, sequence=132))

    assert collector.tally == Tally(heard=3, lost=30)


def test_a_message_out_of_order_and_one_that_is_repeated_are_no_loss() -> None:
    collector = Collector()
    first, second, third, fourth = (ipfix_message(flow_set(256, TO_FAR * 2), sequence=2 * n) for n in range(4))

    collector.hear(ipfix_message(LEARN), first, third, second, second, fourth, third)

    assert collector.tally.lost == 0
    assert collector.tally.heard == 12


def test_a_loss_that_was_told_is_not_taken_back_below_nothing() -> None:
    collector = Collector()
    collector.hear(ipfix_message(LEARN), *(ipfix_message(flow_set(256, TO_FAR), sequence=n) for n in (0, 2)))
    told, collector.tally = collector.tally, Tally()

    collector.hear(ipfix_message(flow_set(256, TO_FAR), sequence=1))

    assert (told.lost, collector.tally.lost) == (1, 0)


def test_a_restart_of_the_exporter_is_no_huge_loss() -> None:
    collector = Collector()
    long_ago = [ipfix_message(flow_set(256, TO_FAR), sequence=5_000_000 + n) for n in range(3)]
    anew = [ipfix_message(flow_set(256, TO_FAR), sequence=n) for n in (0, 1, 2, 5)]

    collector.hear(ipfix_message(LEARN, sequence=5_000_000), *long_ago, ipfix_message(LEARN), *anew)

    assert collector.tally == Tally(heard=7, lost=2)


def test_what_waits_for_its_template_makes_no_gap() -> None:
    collector = Collector()
    unknown = [ipfix_message(flow_set(256, TO_FAR * 5), sequence=5 * n) for n in range(4)]

    collector.hear(*unknown, ipfix_message(LEARN, sequence=20), ipfix_message(flow_set(256, TO_FAR), sequence=20))

    assert collector.tally == Tally(heard=21)


# Options


@pytest.mark.parametrize(
    ("told", "sampling"),
    [
        ({34: 100}, 100),
        ({50: 16}, 16),
        ({305: 1, 306: 99}, 100),
        ({305: 10, 306: 90}, 10),
        ({309: 5, 310: 100}, 20),
        ({34: 0}, 1),
        ({305: 0, 306: 5}, 1),
        ({160: 1_800_000_000_000}, 1),
    ],
)
def test_sampling_is_told_by_options(told: dict[int, int], sampling: int) -> None:
    fields: list[FieldTold] = [(element, 8 if element == 160 else 4) for element in told]
    options = options_template(300, [(149, 4)], fields)
    data = flow_set(300, bytes(4) + record(fields, told))

    [columns] = Collector().hear(ipfix_message(options, data, LEARN, flow_set(256, TO_FAR)))

    assert columns.sampling == sampling


def test_sampling_holds_for_its_own_domain() -> None:
    collector = Collector()
    options = options_template(300, [(149, 4)], [(34, 4)])

    collector.hear(
        ipfix_message(options, flow_set(300, struct.pack("!II", 1, 50)), LEARN), ipfix_message(LEARN, domain=2)
    )
    [first, second] = collector.hear(
        ipfix_message(flow_set(256, TO_FAR), sequence=1), ipfix_message(flow_set(256, TO_FAR), domain=2)
    )

    assert (first.sampling, second.sampling) == (50, 1)


def test_of_several_samplers_the_thinnest_counts_until_it_says_otherwise() -> None:
    collector = Collector()
    fields: list[FieldTold] = [(48, 1), (50, 4)]
    options = options_template9(300, [(1, 4)], fields)
    told = [record(fields, {48: sampler, 50: interval}) for sampler, interval in [(1, 10), (2, 100), (2, 20)]]

    samplings = []
    for values in told:
        data = flow_set(300, bytes(4) + values, padding=3)
        [columns] = collector.hear(netflow9_message(options, data, template(256, PLAIN, kind=0), flow_set(256, TO_FAR)))
        samplings.append(columns.sampling)

    assert samplings == [10, 100, 20]


def test_netflow_5_tells_its_sampling_in_each_header() -> None:
    row = record5(HALL, FAR)

    found = Collector().traffic(
        netflow5_message(row, sampling=0x4000 | 100), netflow5_message(row, sampling=0, sequence=1)
    )

    assert [traffic.sampling for traffic in found] == [100, 1]


# What is malformed


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"\x00",
        b"\x00\x0a",
        bytes(100),
        ipfix_message(LEARN)[:-1],
        b"\x00\x0a\x00\x0f" + bytes(12),
        netflow9_message()[:19],
        netflow5_message(record5(HALL, FAR))[:-1],
        netflow5_message(),
        netflow5_message(*[record5(HALL, FAR)] * 31),
        b"\x00\x08" + bytes(60),
    ],
)
def test_what_is_no_message_is_refused_and_counted(payload: bytes) -> None:
    collector = Collector()

    found = collector.hear(payload)

    assert found == []
    assert collector.tally == Tally(refused=1)


@pytest.mark.parametrize(
    ("sets", "refused"),
    [
        ((flow_set(0, b""),), 1),
        ((flow_set(1, bytes(8)), flow_set(4, b""), flow_set(255, bytes(3))), 3),
        ((b"\x01\x00\x00\x03",), 1),
        ((b"\x01\x00\xff\xff",), 1),
        ((LEARN, flow_set(256, TO_FAR[:-1])), 1),
        ((flow_set(2, struct.pack("!HH", 256, 5) + bytes(8)),), 1),
        ((flow_set(2, struct.pack("!HHHH", 256, 1, 8, 0)),), 1),
        ((flow_set(2, struct.pack("!HHHH", 255, 1, 8, 4)),), 1),
        ((flow_set(2, struct.pack("!HHHHH", 256, 1, 0x8008, 4, 0)),), 1),
        ((flow_set(3, struct.pack("!HH", 256, 1)),), 1),
        ((flow_set(3, struct.pack("!HHHHH", 256, 1, 2, 8, 4)),), 1),
        ((template(256, [(8, 4), (0, 65_000), (0, 65_000)]),), 1),
        ((template(256, [(8, 4)] * (MAX_FIELDS + 1)),), 1),
    ],
)
def test_sets_that_do_not_fit_are_refused_and_counted(sets: tuple[bytes, ...], refused: int) -> None:
    collector = Collector()

    found = collector.hear(ipfix_message(*sets))

    assert found == []
    assert collector.tally == Tally(refused=refused)
    assert collector.decoder.waiting() == []


def test_what_stands_before_a_set_that_does_not_fit_is_taken() -> None:
    collector = Collector()

    found = collector.traffic(ipfix_message(LEARN, flow_set(256, TO_FAR), b"\x01\x00\xff\xff"))

    assert pairs(found) == [(HALL, FAR)]
    assert collector.tally == Tally(heard=1, refused=1)


def test_octets_after_the_message_are_refused_and_counted() -> None:
    collector = Collector()

    found = collector.traffic(ipfix_message(LEARN, flow_set(256, TO_FAR)) + b"\x00" * 9)

    assert pairs(found) == [(HALL, FAR)]
    assert collector.tally == Tally(heard=1, refused=1)


def test_records_without_addresses_are_heard_and_are_no_flows() -> None:
    collector = Collector()

    found = collector.hear(ipfix_message(template(256, [(56, 6), (80, 6), (2, 4)]), flow_set(256, bytes(32))))

    assert found == []
    assert collector.tally == Tally(heard=2)


# Bounds


def test_templates_of_a_stream_are_bounded_and_the_oldest_goes_first() -> None:
    collector = Collector()

    for number in range(MAX_TEMPLATES + 3):
        collector.hear(ipfix_message(template(256 + number, PLAIN)), now=NOW + timedelta(seconds=number))

    assert [kept.template for kept in collector.decoder.templates()] == list(range(259, 256 + MAX_TEMPLATES + 3))
    assert collector.tally == Tally(refused=3)


def test_streams_of_an_exporter_are_bounded_and_those_of_others_are_left() -> None:
    collector = Collector()
    collector.hear(ipfix_message(LEARN), exporter="192.0.2.3")

    for domain in range(MAX_STREAMS_OF_EXPORTER + 5):
        collector.hear(ipfix_message(LEARN, domain=domain))

    kept = [(kept.exporter, kept.domain) for kept in collector.decoder.templates()]
    assert kept == [("192.0.2.3", 1), *((ROUTER, domain) for domain in range(5, MAX_STREAMS_OF_EXPORTER + 5))]


def test_streams_are_bounded_and_the_one_in_use_stays() -> None:
    collector = Collector()

    for number in range(MAX_STREAMS * 2):
        collector.hear(ipfix_message(LEARN))
        collector.hear(ipfix_message(LEARN), exporter=f"198.51.100.{number}")

    exporters = {kept.exporter for kept in collector.decoder.templates()}
    assert len(exporters) == MAX_STREAMS
    assert ROUTER in exporters


def test_what_waited_in_a_stream_that_made_room_is_counted() -> None:
    collector = Collector()

    for domain in range(MAX_STREAMS_OF_EXPORTER + 2):
        collector.hear(ipfix_message(flow_set(256, TO_FAR), domain=domain))

    assert len(collector.decoder.waiting()) == MAX_STREAMS_OF_EXPORTER
    assert collector.tally == Tally(lost=2)


def test_templates_of_a_batch_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoder_module, "MAX_TEMPLATES_OF_BATCH", 3)
    collector = Collector()

    collector.hear(ipfix_message(*[template(256 + number, PLAIN) for number in range(5)]))

    assert len(collector.decoder.templates()) == 3
    assert collector.tally == Tally(refused=2)


def test_groups_of_a_batch_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoder_module, "MAX_GROUPS_OF_BATCH", 2)
    collector = Collector()
    datagrams = [ipfix_message(template(256 + n, PLAIN), flow_set(256 + n, TO_FAR), sequence=n) for n in range(3)]

    found = collector.hear(*datagrams)

    assert len(found) == 2
    assert collector.tally == Tally(heard=3, refused=1)


def test_memory_stays_bounded_under_a_flood_of_everything_new() -> None:
    """Each message brings a new domain, new templates, and data that nobody can read."""
    collector = Collector()

    for number in range(2000):
        collector.hear(
            ipfix_message(template(256 + number % 1000, PLAIN), flow_set(9999, TO_FAR * 50), domain=number % 500),
            port=number % 300,
        )

    assert len(collector.decoder.templates()) <= MAX_STREAMS_OF_EXPORTER * MAX_TEMPLATES
    assert sum(waiting.count for waiting in collector.decoder.waiting()) <= MAX_STREAMS_OF_EXPORTER * MAX_HELD_SETS
