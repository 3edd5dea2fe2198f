"""Published octets of flow export, and what stands in them.

The examples leave export time, sequence number and domain open; they are ours. The header of RFC 7011 appendix A.1 says
152 octets, the sum for template 258 with a data set of that number: 16 + 28 + 64 + 24 + 20. With the template 260 of
appendix A.4.3, whose data set appendix A.4.4 shows, the sum is 156.
"""

import struct
from ipaddress import IPv4Address

import pytest

from pattress.egress.flows import netflow9
from pattress.egress.flows.columns import Columns
from pattress.egress.flows.ipfix import read_message, templates_in
from pattress.egress.flows.records import cut, options_in
from pattress.egress.flows.templates import Field, Template, template_of
from unit.egress.flows.export import (
    NOW,
    ROUTER,
    Collector,
    flow_set,
    ipfix_message,
    netflow5_message,
    options_template,
    record5,
)

# RFC 7011 appendix A. The enterprise number N of the examples is open, too: here it is 0.
A_2_1 = bytes.fromhex("0002001c 01000005 00080004 000c0004 000f0004 00020004 00010004")
A_2_2 = bytes.fromhex("00020020 01010005 00080004 000c0004 800f0004 00000000 00020004 00010004")
A_3 = bytes.fromhex(
    "01000040 c000020c c00002fe c0000201 00001391 00518c81 c000021b c0000217 c0000202 000002ec 0005ef46"
    "c0000238 c0000241 c0000203 00000005 00001986"
)
A_4_1 = bytes.fromhex("00030018 01020003 0001008d 00040029 0002002a 00020000")
A_4_2 = bytes.fromhex("0003001c 01030003 0001008d 00040029 0002802a 00040000 00000000")
A_4_3 = bytes.fromhex("0003001c 01040003 0001807b 00040000 00000029 0002002a 00020000")
A_4_4 = bytes.fromhex("01040014 00000001 015927d9 00000002 02b24fb2")

# RFC 3954 section 11: template and data, options template and data. The first source is 198.168.1.12, as printed.
TEMPLATE_9 = bytes.fromhex("0000001c 01000005 00080004 000c0004 000f0004 00020004 00010004")
DATA_9 = bytes.fromhex(
    "01000040 c6a8010c 0a050cfe c0a80101 00001391 00518c81 c0a8011b 0a050c17 c0a80101 000002ec 0005ef46"
    "c0a80138 0a050c41 c0a80101 00000005 00001986"
)
OPTIONS_9 = bytes.fromhex("00010018 01010004 00080003 00020029 0002002a 00020000")
OPTIONS_DATA_9 = bytes.fromhex("01010010 00010159 27d90002 02b24fb2")

IPFIX_ROWS = [
    ("192.0.2.12", "192.0.2.254", 5009, 5344385),
    ("192.0.2.27", "192.0.2.23", 748, 388934),
    ("192.0.2.56", "192.0.2.65", 5, 6534),
]
NETFLOW_9_ROWS = [
    ("198.168.1.12", "10.5.12.254", 5009, 5344385),
    ("192.168.1.27", "10.5.12.23", 748, 388934),
    ("192.168.1.56", "10.5.12.65", 5, 6534),
]


def rows_of(columns: Columns) -> list[tuple[str, str, int, int]]:
    packets, octets = columns.get(2), columns.get(1)
    assert packets is not None
    assert octets is not None
    return [
        (str(IPv4Address(int(sender))), str(IPv4Address(int(receiver))), int(packet), int(octet))
        for sender, receiver, packet, octet in zip(columns.sender, columns.receiver, packets, octets, strict=True)
    ]


def only_template(octets: bytes, *, is_options: bool = False, version: int = 10) -> Template:
    read = templates_in if version == 10 else netflow9.templates_in
    [found] = read(octets, 4, len(octets), is_options=is_options, at=NOW)
    assert isinstance(found, Template)
    return found


def test_the_message_of_rfc_7011_appendix_a_has_its_three_flows() -> None:
    data_258 = struct.pack("!H", 258) + A_4_4[2:]
    datagram = ipfix_message(A_2_1, A_3, A_4_1, data_258)
    collector = Collector()

    [columns] = collector.hear(datagram)

    assert len(datagram) == 152, "RFC 7011 appendix A.1, length"
    assert rows_of(columns) == IPFIX_ROWS
    assert (collector.tally.heard, collector.tally.lost, collector.tally.refused) == (5, 0, 0)


def test_the_message_with_the_data_set_that_the_appendix_shows_is_four_octets_longer() -> None:
    datagram = ipfix_message(A_2_1, A_3, A_4_3, A_4_4)
    collector = Collector()

    [columns] = collector.hear(datagram)

    assert len(datagram) == 156
    assert rows_of(columns) == IPFIX_ROWS
    assert (collector.tally.heard, collector.tally.refused) == (5, 0)


def test_a_template_with_an_enterprise_field_is_stepped_over_by_its_length() -> None:
    found = only_template(A_2_2)

    assert (found.id, found.fixed_length, found.runs) == (257, 20, (20,))
    assert {element: place.offset for (element, _), place in found.places.items()} == {8: 0, 12: 4, 2: 12, 1: 16}


@pytest.mark.parametrize(
    ("octets", "number", "length", "source"),
    [
        (A_4_1, 258, 8, "RFC 7011 appendix A.4.1"),
        (A_4_2, 259, 10, "RFC 7011 appendix A.4.2"),
        (A_4_3, 260, 8, "RFC 7011 appendix A.4.3"),
    ],
)
def test_options_templates_have_the_records_of_the_appendix(
    octets: bytes, number: int, length: int, source: str
) -> None:
    found = only_template(octets, is_options=True)

    assert (found.id, found.is_options, found.fixed_length) == (number, True, length), source


def test_options_data_is_two_records_with_no_padding() -> None:
    template = only_template(A_4_3, is_options=True)

    found = cut(template, A_4_4, 4, len(A_4_4))

    assert (found.rows, found.faults) == (2, 0)
    assert [struct.unpack_from("!IHH", found.records, first) for first in (0, 8)] == [(1, 345, 10201), (2, 690, 20402)]


@pytest.mark.parametrize(
    ("field", "source"),
    [
        (b"\x05" + b"quill", "RFC 7011 appendix A.5.1"),
        (b"\xff\x03\xe8" + b"q" * 1000, "RFC 7011 appendix A.5.2"),
        (b"\xff\x00\x05" + b"quill", "RFC 7011 section 7: the three octets may serve for short ones, too"),
        (b"\x00", "RFC 7011 section 7: a length of zero"),
    ],
)
def test_a_field_of_variable_length_is_stepped_over(field: bytes, source: str) -> None:
    fields = [Field(8, 4), Field(82, 65535), Field(12, 4), Field(2, 4)]
    template = template_of(256, fields, is_options=False, record=b"", at=NOW)
    assert template is not None
    first, second = bytes.fromhex("c000020c"), bytes.fromhex("c00002fe 00001391")

    found = cut(template, (first + field + second) * 2, 0, 2 * len(first + field + second))

    assert found == (2 * (first + second), 2, 0), source


def test_the_packet_of_rfc_3954_section_11_has_its_three_flows() -> None:
    header = struct.pack("!HHIIII", 9, 7, 360_000, 1_380_362_368, 1, 0)
    datagram = header + TEMPLATE_9 + DATA_9 + OPTIONS_9 + OPTIONS_DATA_9
    collector = Collector()

    [columns] = collector.hear(datagram)

    assert len(datagram) == 20 + 28 + 64 + 24 + 16
    assert rows_of(columns) == NETFLOW_9_ROWS
    assert (collector.tally.heard, collector.tally.lost, collector.tally.refused) == (5, 0, 0)


def test_the_options_of_rfc_3954_section_11_have_their_values() -> None:
    """Section 11.4: the scope is an interface of two octets, then packets and flows exported."""
    template = only_template(OPTIONS_9, is_options=True, version=9)

    found = cut(template, OPTIONS_DATA_9, 4, len(OPTIONS_DATA_9))

    assert (template.id, template.fixed_length) == (257, 6)
    assert [struct.unpack_from("!HHH", found.records, first) for first in (0, 6)] == [(1, 345, 10201), (2, 690, 20402)]


def test_a_netflow_v5_packet_has_the_layout_of_its_table() -> None:
    """Header 24 octets, record 48: offsets by the vendor's published table."""
    row = record5(
        "192.0.2.17",
        "203.0.113.9",
        packets=5,
        octets=380,
        first_ms=3_500_000,
        last_ms=3_504_000,
        sender_port=40_000,
        receiver_port=123,
        flags=0x1B,
        protocol=17,
    )
    datagram = netflow5_message(row, uptime_ms=3_600_000)
    collector = Collector()

    [traffic] = collector.traffic(datagram)

    assert len(datagram) == 24 + 48
    assert (row[0:4], row[4:8], row[16:20], row[20:24]) == (
        IPv4Address("192.0.2.17").packed,
        IPv4Address("203.0.113.9").packed,
        (5).to_bytes(4),
        (380).to_bytes(4),
    )
    assert (row[32:34], row[34:36], row[37], row[38]) == ((40_000).to_bytes(2), (123).to_bytes(2), 0x1B, 17)
    assert (str(traffic.sender), str(traffic.receiver), traffic.protocol) == ("192.0.2.17", "203.0.113.9", 17)
    assert (traffic.sender_port, traffic.receiver_port, traffic.flags) == (40_000, 123, 0x1B)
    assert (traffic.packets, traffic.octets) == (5, 380)


def test_reverse_fields_have_the_enterprise_number_of_rfc_5103() -> None:
    """RFC 5103 section 6.1: 29305, with the enterprise bit set, and the number of the forward element."""
    fields = bytes.fromhex("0008 0004 000c 0004 0002 0004 8002 0004 00007279 8001 0004 00007279")
    template = flow_set(2, struct.pack("!HH", 256, 5) + fields)
    data = flow_set(256, bytes.fromhex("c000020c cb007109 00000003 00000002 000000b4"))

    [traffic] = Collector().traffic(ipfix_message(template, data))

    assert int.from_bytes(bytes.fromhex("00007279")) == 29305
    assert (traffic.packets, traffic.back_packets, traffic.back_octets) == (3, 2, 180)


def test_a_reduced_integer_is_the_same_number() -> None:
    """RFC 7011 section 6.2: an unsigned64 may be sent in 3 octets, where its value fits."""
    data = flow_set(256, bytes.fromhex("c000020c cb007109 018d50 0005"))
    fields = struct.pack("!HH", 256, 4) + struct.pack("!HHHHHHHH", 8, 4, 12, 4, 1, 3, 2, 2)

    [columns] = Collector().hear(ipfix_message(flow_set(2, fields), data))

    assert rows_of(columns) == [("192.0.2.12", "203.0.113.9", 5, 0x018D50)]


def test_sets_are_found_by_their_lengths() -> None:
    found = read_message(ipfix_message(A_2_1, A_3))

    assert found is not None
    assert found.sets == [(2, 20, 44), (256, 48, 108)]


def test_sampling_in_options_is_one_packet_in_so_many() -> None:
    """Elements 305 and 306 (RFC 5477 section 8.2): so many taken, then so many skipped; 10 and 90 are 1 in 10."""
    options = options_template(258, [(149, 4)], [(305, 4), (306, 4)])
    data = flow_set(258, struct.pack("!III", 1, 10, 90))
    template, flows = A_2_1, A_3

    [columns] = Collector().hear(ipfix_message(options, data, template, flows))

    assert columns.sampling == 10
    assert columns.exporter == ROUTER
    assert options_in(
        only_template(options, is_options=True), cut(only_template(options, is_options=True), data, 4, 16)
    ) == [{305: 10, 306: 90}]
