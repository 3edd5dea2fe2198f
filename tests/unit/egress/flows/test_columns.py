"""Fields of many records as arrays, whatever their length, and rows by their IP version."""

from datetime import timedelta
from ipaddress import ip_address

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from unit.egress.flows.export import (
    NOW,
    REVERSE,
    Collector,
    FieldTold,
    flow_set,
    ipfix_message,
    netflow5_message,
    pairs,
    record,
    record5,
    template,
)

HALL, FAR = "192.0.2.17", "203.0.113.9"
HALL6, FAR6, ROUND6 = "2001:db8:7::17", "2001:db8:bad::9", "2001:db8::"
BOTH: list[FieldTold] = [(60, 1), (8, 4), (12, 4), (27, 16), (28, 16), (2, 4)]
BLANK4, BLANK6 = bytes(4), bytes(16)


def test_ipv4_addresses_are_native_integers_of_32_bits() -> None:
    fields: list[FieldTold] = [(8, 4), (12, 4)]

    [columns] = Collector().hear(
        ipfix_message(template(256, fields), flow_set(256, record(fields, {8: HALL, 12: FAR})))
    )

    assert (columns.version, columns.count) == (4, 1)
    for addresses, expected in ((columns.sender, HALL), (columns.receiver, FAR)):
        assert addresses.dtype == np.uint32
        assert addresses.dtype.isnative
        assert addresses.tolist() == [int(ip_address(expected))]


def test_ipv6_addresses_are_octets_and_keep_their_zeros() -> None:
    fields: list[FieldTold] = [(27, 16), (28, 16)]
    data = record(fields, {27: ROUND6, 28: FAR6}) + record(fields, {27: "::", 28: "2001:db8:0:100::"})

    [columns] = Collector().hear(ipfix_message(template(256, fields), flow_set(256, data)))
    found = Collector().traffic(ipfix_message(template(256, fields), flow_set(256, data)))

    assert (columns.version, columns.count) == (6, 2)
    assert columns.sender.dtype == np.dtype("S16")
    assert columns.sender.tobytes() == ip_address(ROUND6).packed + bytes(16)
    assert pairs(found) == [(ROUND6, FAR6), ("::", "2001:db8:0:100::")]


@given(st.integers(1, 8), st.lists(st.integers(0, 2**64 - 1), min_size=1, max_size=20), st.booleans())
def test_an_unsigned_field_of_any_length_has_its_value(length: int, values: list[int], is_reverse: bool) -> None:
    values = [value % 256**length for value in values]
    octets: FieldTold = (1, length, REVERSE) if is_reverse else (1, length)
    fields: list[FieldTold] = [(8, 4), (5, 1), octets, (12, 4)]
    data = b"".join(record(fields, {8: HALL, 1: value}, {1: value}) for value in values)

    [columns] = Collector().hear(ipfix_message(template(256, fields), flow_set(256, data)))

    column = columns.get(1, is_reverse)
    assert column is not None
    assert column.dtype.isnative
    assert column.tolist() == values
    assert columns.pick(1, np.arange(columns.count), is_reverse) == values
    assert columns.get(1, not is_reverse) is None


def test_a_field_that_the_template_lacks_is_none() -> None:
    [columns] = Collector().hear(netflow5_message(record5(HALL, FAR)))

    assert columns.get(56) is None
    assert columns.pick(239, np.arange(1)) is None
    assert columns.pick_octets(56, np.arange(1)) is None


def test_an_element_that_repeats_counts_where_it_stands_first() -> None:
    fields: list[FieldTold] = [(8, 4), (12, 4), (8, 4), (12, 4)]
    outer_then_inner = b"".join(ip_address(address).packed for address in (HALL, FAR, "10.0.0.1", "10.0.0.2"))

    found = Collector().traffic(ipfix_message(template(256, fields), flow_set(256, outer_then_inner)))

    assert pairs(found) == [(HALL, FAR)]


@pytest.mark.parametrize("fields", [BOTH, BOTH[1:], [(60, 3), *BOTH[1:]], [(60, 4), *BOTH[1:]]])
def test_rows_of_a_template_with_both_kinds_of_addresses_are_split_by_which_is_set(fields: list[FieldTold]) -> None:
    """With the IP version in the record, without it, and with one of more octets than it needs, as fuzzing found."""
    rows = [
        {60: 4, 8: HALL, 12: FAR, 27: BLANK6, 28: BLANK6, 2: 1},
        {60: 6, 8: BLANK4, 12: BLANK4, 27: HALL6, 28: FAR6, 2: 2},
        {60: 4, 8: FAR, 12: HALL, 27: BLANK6, 28: BLANK6, 2: 3},
    ]
    data = b"".join(record(fields, row) for row in rows)

    found = Collector().hear(ipfix_message(template(256, fields), flow_set(256, data)))

    by_version = {columns.version: columns for columns in found}
    fourth, sixth = by_version[4].get(2), by_version[6].get(2)
    assert fourth is not None
    assert sixth is not None
    assert (fourth.tolist(), sixth.tolist()) == ([1, 3], [2])


@pytest.mark.parametrize(
    ("row", "version"),
    [
        ({60: 4, 8: HALL, 12: FAR, 27: BLANK6, 28: BLANK6}, 4),
        ({60: 6, 8: BLANK4, 12: BLANK4, 27: HALL6, 28: FAR6}, 6),
        ({60: 0, 8: HALL, 12: FAR, 27: BLANK6, 28: BLANK6}, 4),
        ({60: 0, 8: BLANK4, 12: BLANK4, 27: HALL6, 28: FAR6}, 6),
        ({60: 4, 8: "0.0.0.0", 12: "0.0.0.0", 27: BLANK6, 28: BLANK6}, 4),
    ],
)
def test_rows_of_one_kind_alone_are_one_columns(row: dict[int, int | str | bytes], version: int) -> None:
    found = Collector().hear(ipfix_message(template(256, BOTH), flow_set(256, record(BOTH, row) * 3)))

    assert [(columns.version, columns.count) for columns in found] == [(version, 3)]


def test_when_rows_came_follows_them_through_a_split() -> None:
    collector = Collector()
    four = record(BOTH, {60: 4, 8: HALL, 12: FAR, 27: BLANK6, 28: BLANK6})
    six = record(BOTH, {60: 6, 8: BLANK4, 12: BLANK4, 27: HALL6, 28: FAR6})
    for number, data in enumerate([six, four + six, six + six + four, four]):
        collector.hear(ipfix_message(flow_set(256, data)), now=NOW + timedelta(seconds=number))

    found = {columns.version: columns for columns in collector.hear(ipfix_message(template(256, BOTH)))}

    came_s = {
        version: [(moment - NOW).seconds for moment in columns.heard_at(np.arange(columns.count))]
        for version, columns in found.items()
    }
    assert came_s == {4: [1, 2, 3], 6: [0, 1, 2, 2]}


def test_records_of_variable_length_come_to_the_same_columns() -> None:
    fields: list[FieldTold] = [(82, 65535), (8, 4), (2, 2), (83, 65535), (12, 4), (1, 3), (94, 65535)]
    whole: list[FieldTold] = [(8, 4), (2, 2), (12, 4), (1, 3)]
    rows = [{8: HALL, 12: FAR, 2: number, 1: 1000 * number} for number in range(20)]
    text = [b"\x00", b"\x05quill", b"\xff\x01\x00" + b"q" * 256]
    data = b"".join(
        record(fields, {**row, 82: text[n % 3], 83: text[(n + 1) % 3], 94: text[(n + 2) % 3]})
        for n, row in enumerate(rows)
    )

    [columns] = Collector().hear(ipfix_message(template(256, fields), flow_set(256, data)))
    [plain] = Collector().hear(
        ipfix_message(template(256, whole), flow_set(256, b"".join(record(whole, row) for row in rows)))
    )

    assert (columns.version, columns.count) == (plain.version, 20)
    for element in (1, 2):
        variable, fixed = columns.get(element), plain.get(element)
        assert variable is not None
        assert fixed is not None
        assert variable.tolist() == fixed.tolist()
    assert columns.sender.tolist() == plain.sender.tolist()
    assert columns.receiver.tolist() == plain.receiver.tolist()


@pytest.mark.parametrize("cut_off", [1, 3, 5])
def test_a_record_of_variable_length_that_does_not_fit_is_refused(cut_off: int) -> None:
    fields: list[FieldTold] = [(8, 4), (12, 4), (82, 65535), (2, 2)]
    whole = record(fields, {8: HALL, 12: FAR, 82: b"\x05quill", 2: 1})
    collector = Collector()

    found = collector.traffic(ipfix_message(template(256, fields), flow_set(256, (whole * 2)[:-cut_off])))

    assert pairs(found) == [(HALL, FAR)]
    assert (collector.tally.heard, collector.tally.refused) == (1, 1)
