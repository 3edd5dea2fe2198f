"""What the fields of a record come to as evidence."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from ipaddress import ip_address

import numpy as np
import pytest

from pattress.egress.flows.traffic import traffic_of
from pattress.model.encounter import Traffic
from unit.egress.flows.export import (
    EXPORT_S,
    NOW,
    REVERSE,
    Collector,
    FieldTold,
    flow_set,
    ipfix_message,
    record,
    template,
)

HALL, FAR, PUBLIC = "192.0.2.17", "203.0.113.9", "198.51.100.1"
ENDS: list[FieldTold] = [(8, 4), (12, 4)]


def told(
    fields: Sequence[FieldTold],
    values: Mapping[int, int | str | bytes],
    reverse: Mapping[int, int] | None = None,
    *,
    is_after_filter: bool = False,
    export_s: int = EXPORT_S,
) -> Traffic:
    whole = [*ENDS, *fields]
    data = flow_set(256, record(whole, {8: HALL, 12: FAR, **values}, reverse))
    message = ipfix_message(template(256, whole), data, export_s=export_s)
    [found] = Collector().traffic(message, is_after_filter=is_after_filter)
    return found


def test_a_record_of_addresses_alone_says_nothing_else() -> None:
    assert told([], {}) == Traffic(source="router", at=NOW, sender=ip_address(HALL), receiver=ip_address(FAR))


@pytest.mark.parametrize(
    ("fields", "values", "counts"),
    [
        ([(1, 8), (2, 8)], {1: 380, 2: 5}, (5, 380)),
        ([(85, 4), (86, 4)], {85: 380, 86: 5}, (5, 380)),
        ([(86, 4), (85, 4), (2, 4), (1, 4)], {1: 76, 2: 1, 85: 380, 86: 5}, (1, 76)),
        ([(231, 4), (298, 4)], {231: 380, 298: 5}, (5, 380)),
        ([(1, 3), (2, 1)], {1: 2**24 - 1, 2: 255}, (255, 2**24 - 1)),
        ([(1, 8)], {1: 2**64 - 1}, (0, 2**64 - 1)),
    ],
)
def test_packets_and_octets_come_from_whichever_field_has_them(
    fields: list[FieldTold], values: dict[int, int], counts: tuple[int, int]
) -> None:
    found = told(fields, values)

    assert (found.packets, found.octets) == counts
    assert found.is_answered is None or 298 in values


BIFLOW: list[FieldTold] = [(2, 4), (1, 4), (6, 1), (2, 4, REVERSE), (1, 4, REVERSE), (6, 2, REVERSE)]


def test_a_biflow_tells_both_directions() -> None:
    found = told(BIFLOW, {2: 5, 1: 380, 6: 0x1B}, {2: 4, 1: 900, 6: 0x12})

    assert (found.packets, found.octets, found.flags) == (5, 380, 0x1B)
    assert (found.back_packets, found.back_octets, found.back_flags) == (4, 900, 0x12)
    assert found.is_answered is True


def test_a_biflow_with_nothing_back_is_not_answered() -> None:
    found = told(BIFLOW, {2: 5, 1: 380, 6: 2}, {})

    assert (found.is_answered, found.back_packets, found.back_flags) == (False, 0, 0)


def test_a_biflow_that_tells_octets_alone_still_tells_whether_it_was_answered() -> None:
    answered = told([(2, 4), (1, 4, REVERSE)], {2: 1}, {1: 90})
    unanswered = told([(2, 4), (1, 4, REVERSE)], {2: 1}, {1: 0})

    assert (answered.is_answered, unanswered.is_answered) == (True, False)


def test_a_reverse_field_is_no_forward_one() -> None:
    found = told([(1, 4, REVERSE), (2, 4, REVERSE)], {}, {1: 900, 2: 4})

    assert (found.packets, found.octets, found.back_packets, found.back_octets) == (0, 0, 4, 900)


@pytest.mark.parametrize(("direction", "initiator"), [(0, None), (1, "sender"), (2, "receiver"), (3, None)])
def test_a_biflow_may_tell_who_began(direction: int, initiator: str | None) -> None:
    assert told([(239, 1)], {239: direction}).initiator == initiator


@pytest.mark.parametrize(
    ("event", "initiator"), [(0, None), (1, "sender"), (4, "sender"), (6, "sender"), (2, None), (5, None)]
)
def test_a_translation_that_was_set_up_tells_that_the_sender_began(event: int, initiator: str | None) -> None:
    assert told([(230, 1)], {230: event}).initiator == initiator


def test_counts_by_who_began_tell_that_the_sender_did_and_what_came_back() -> None:
    found = told([(231, 4), (232, 4), (298, 4), (299, 4)], {231: 300, 232: 500, 298: 3, 299: 2})

    assert (found.initiator, found.packets, found.back_packets, found.back_octets) == ("sender", 3, 2, 500)
    assert found.is_answered is True


@pytest.mark.parametrize(
    ("fields", "values", "icmp_type"),
    [
        ([(4, 1), (176, 1), (177, 1)], {4: 1, 176: 8}, 8),
        ([(4, 1), (32, 2)], {4: 1, 32: 8 * 256}, 8),
        ([(4, 1), (32, 2)], {4: 1, 32: 3 * 256 + 13}, 3),
        ([(4, 1), (7, 2), (11, 2)], {4: 1, 11: 8 * 256}, 8),
        ([(4, 1), (32, 2), (11, 2)], {4: 1, 11: 8 * 256}, 8),
        ([(4, 1), (7, 2), (11, 2)], {4: 1}, 0),
        ([(4, 1), (32, 2)], {4: 1}, 0),
        ([(4, 1)], {4: 1}, None),
        ([(4, 1), (139, 2)], {4: 58, 139: 135 * 256}, 135),
        ([(4, 1), (178, 1)], {4: 58, 178: 128}, 128),
        ([(4, 1), (32, 2), (11, 2)], {4: 17, 32: 2048, 11: 53}, None),
    ],
)
def test_the_type_of_icmp_is_found_wherever_exporters_put_it(
    fields: list[FieldTold], values: dict[int, int], icmp_type: int | None
) -> None:
    assert told(fields, values).icmp_type == icmp_type


def test_icmp_has_no_ports() -> None:
    found = told([(4, 1), (7, 2), (11, 2)], {4: 1, 11: 2048})

    assert (found.sender_port, found.receiver_port) == (None, None)


@pytest.mark.parametrize(
    ("fields", "values", "is_after_filter", "verdict"),
    [
        ([], {}, False, None),
        ([], {}, True, "let-through"),
        ([(233, 1)], {233: 3}, False, "dropped"),
        ([(233, 1)], {233: 3}, True, "dropped"),
        ([(233, 1)], {233: 1}, False, "let-through"),
        ([(233, 1)], {233: 2}, False, "let-through"),
        ([(233, 1)], {233: 0}, False, None),
        ([(233, 1)], {233: 4}, False, None),
        ([(89, 1)], {89: 0x40}, False, "let-through"),
        ([(89, 1)], {89: 0x80}, False, "dropped"),
        ([(89, 4)], {89: 0x81}, False, "dropped"),
        ([(89, 1)], {89: 0xC0}, False, None),
        ([(89, 1)], {89: 0}, False, None),
    ],
)
def test_the_verdict_of_a_filter(
    fields: list[FieldTold], values: dict[int, int], is_after_filter: bool, verdict: str | None
) -> None:
    assert told(fields, values, is_after_filter=is_after_filter).verdict == verdict


def test_the_hardware_address_of_the_sender_is_in_its_normal_form() -> None:
    assert told([(56, 6)], {56: bytes.fromhex("02005e005301")}).sender_mac == "02:00:5e:00:53:01"
    assert told([(56, 6)], {56: bytes(6)}).sender_mac is None
    assert told([(56, 6)], {56: bytes.fromhex("02005e005300")}).sender_mac == "02:00:5e:00:53:00"


@pytest.mark.parametrize(("fields", "own"), [([(34, 4)], {34: 100}), ([(50, 4)], {50: 100})])
def test_a_record_may_tell_its_own_sampling(fields: list[FieldTold], own: dict[int, int]) -> None:
    assert told(fields, own).sampling == 100


# Translation of addresses (RFC 8158)

NAT: list[FieldTold] = [*ENDS, (225, 4), (226, 4), (7, 2), (11, 2), (227, 2), (228, 2)]


@pytest.mark.parametrize(
    ("values", "ends", "ports"),
    [
        # what a device sends: its source is translated
        (
            {8: HALL, 12: FAR, 225: PUBLIC, 226: FAR, 7: 5000, 11: 443, 227: 61000, 228: 443},
            (HALL, FAR),
            (5000, 443),
        ),
        # what comes back: the destination is
        (
            {8: FAR, 12: PUBLIC, 225: FAR, 226: HALL, 7: 443, 11: 61000, 227: 443, 228: 5000},
            (FAR, HALL),
            (443, 5000),
        ),
        # nothing translated, nothing told
        ({8: HALL, 12: FAR, 7: 5000, 11: 443}, (HALL, FAR), (5000, 443)),
        # a port forward from outside
        (
            {8: FAR, 12: PUBLIC, 225: FAR, 226: HALL, 7: 999, 11: 8080, 227: 999, 228: 80},
            (FAR, HALL),
            (999, 80),
        ),
    ],
)
def test_of_translated_addresses_those_of_the_real_ends_count(
    values: dict[int, int | str | bytes], ends: tuple[str, str], ports: tuple[int, int]
) -> None:
    [found] = Collector().traffic(ipfix_message(template(256, NAT), flow_set(256, record(NAT, values))))

    assert (str(found.sender), str(found.receiver)) == ends
    assert (found.sender_port, found.receiver_port) == ports


def test_the_real_ends_count_in_ipv6_too() -> None:
    fields: list[FieldTold] = [(27, 16), (28, 16), (281, 16), (282, 16)]
    there = record(fields, {27: "fd00::7", 28: "2001:db8::9", 281: "2001:db8:1::1", 282: "2001:db8::9"})
    back = record(fields, {27: "2001:db8::9", 28: "2001:db8:1::1", 281: "2001:db8::9", 282: "fd00::7"})
    plain = record(fields, {27: "fd00::7", 28: "2001:db8::9", 281: bytes(16), 282: bytes(16)})

    found = Collector().traffic(ipfix_message(template(256, fields), flow_set(256, there + back + plain)))

    assert [(str(traffic.sender), str(traffic.receiver)) for traffic in found] == [
        ("fd00::7", "2001:db8::9"),
        ("2001:db8::9", "fd00::7"),
        ("fd00::7", "2001:db8::9"),
    ]


def test_addresses_of_ipv4_that_are_written_as_ipv6_are_those_of_ipv4() -> None:
    fields: list[FieldTold] = [(27, 16), (28, 16)]
    mapped = record(fields, {27: f"::ffff:{HALL}", 28: f"::ffff:{FAR}"})

    [found] = Collector().traffic(ipfix_message(template(256, fields), flow_set(256, mapped)))

    assert (found.sender, found.receiver) == (ip_address(HALL), ip_address(FAR))


# Times


@pytest.mark.parametrize(
    ("field", "value"),
    [((22, 4), 3_300_000), ((150, 4), EXPORT_S - 300), ((152, 8), 0), ((154, 8), 2**64 - 1), ((160, 8), 1)],
)
@pytest.mark.parametrize("off_s", [0, -7200, 86_400])
def test_evidence_is_of_when_it_came_whatever_its_exporter_says_of_the_time(
    field: FieldTold, value: int, off_s: int
) -> None:
    found = told([field, (2, 4)], {field[0]: value, 2: 5}, export_s=EXPORT_S + off_s)

    assert (found.at, found.packets) == (NOW, 5)


def test_evidence_that_waited_for_its_template_is_of_when_it_came() -> None:
    whole: list[FieldTold] = [*ENDS, (2, 4)]
    collector = Collector()
    for seconds in (40, 10):
        data = flow_set(256, record(whole, {8: HALL, 12: FAR, 2: seconds}))
        collector.hear(ipfix_message(data), now=NOW - timedelta(seconds=seconds))

    own = flow_set(256, record(whole, {8: HALL, 12: FAR}))
    found = collector.traffic(ipfix_message(template(256, whole), own))

    assert [(traffic.packets, NOW - traffic.at) for traffic in found] == [
        (seconds, timedelta(seconds=seconds)) for seconds in (40, 10, 0)
    ]


def test_a_clock_that_was_set_back_since_puts_nothing_into_the_future() -> None:
    collector = Collector()
    collector.hear(ipfix_message(flow_set(256, record(ENDS, {8: HALL, 12: FAR}))), now=NOW + timedelta(hours=1))

    [found] = collector.traffic(ipfix_message(template(256, ENDS)))

    assert found.at == NOW


# Rows


def test_only_the_chosen_rows_are_told_in_their_order() -> None:
    whole: list[FieldTold] = [*ENDS, (2, 4)]
    collector = Collector()
    for n in range(4):
        data = b"".join(record(whole, {8: HALL, 12: FAR, 2: 10 * n + m}) for m in range(3))
        collector.hear(ipfix_message(flow_set(256, data)), now=NOW - timedelta(seconds=10 - n))
    [columns] = collector.hear(ipfix_message(template(256, whole)))

    found = traffic_of(columns, np.array([11, 0, 4], np.intp), "router", NOW, is_after_filter=False)

    assert [traffic.packets for traffic in found] == [32, 0, 11]
    assert [traffic.at for traffic in found] == [NOW - timedelta(seconds=seconds) for seconds in (7, 10, 9)]


def test_no_rows_are_no_traffic() -> None:
    whole: list[FieldTold] = [*ENDS, (2, 3), (56, 6)]
    [columns] = Collector().hear(ipfix_message(template(256, whole), flow_set(256, record(whole, {8: HALL, 12: FAR}))))

    assert traffic_of(columns, np.array([], np.intp), "router", NOW, is_after_filter=False) == []
