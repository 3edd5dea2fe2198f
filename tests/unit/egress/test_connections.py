"""Lines of the connection table, as kernel 6.18 and conntrack-tools 1.4.7 wrote them in namespaces."""

from datetime import UTC, datetime
from ipaddress import ip_address

import pytest

from pattress.egress.connections import connection_of
from pattress.model.encounter import Traffic

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
THERE = "src=192.0.2.7 dst=203.0.113.9 sport=56066 dport=8883"
BACK = "src=203.0.113.9 dst=203.0.113.1 sport=8883 dport=56066"
TCP = f"{THERE} packets=5 bytes=286 {BACK} packets=3 bytes=319 [ASSURED] mark=0"
SEEN = Traffic(
    source="own",
    at=NOON,
    sender=ip_address("192.0.2.7"),
    receiver=ip_address("203.0.113.9"),
    protocol=6,
    sender_port=56066,
    receiver_port=8883,
    packets=5,
    octets=286,
    back_packets=3,
    back_octets=319,
    initiator="sender",
    is_answered=True,
)


def told(line: str) -> Traffic:
    found = connection_of(line, "own", NOON)
    assert found is not None
    return found.traffic


@pytest.mark.parametrize(
    "line",
    [
        f"ipv4     2 tcp      6 431999 ESTABLISHED {TCP} zone=0 use=2",
        f"tcp      6 8 CLOSE {TCP} use=1",
        f"ipv4     2 tcp      6 8 CLOSE {TCP} use=1 id=2131133888",
        f"[UPDATE] tcp      6 300 ESTABLISHED {TCP}",
        f"[DESTROY] ipv4     2 tcp      6 {TCP}",
        f"[1795601141.250000]\t[UPDATE] tcp      6 300 ESTABLISHED {TCP}",
    ],
    ids=["proc", "list", "extended list", "event", "last event", "event with its time"],
)
def test_table_lists_and_events_tell_the_same(line: str) -> None:
    assert told(line) == SEEN


@pytest.mark.parametrize(
    ("line", "expires_s"),
    [
        (f"ipv4     2 tcp      6 431999 ESTABLISHED {TCP} zone=0 use=2", 431_999),
        (f"tcp      6 8 CLOSE {TCP} use=1", 8),
        (f"[UPDATE] udp      17 29 {THERE} {BACK}", 29),
        (f"ipv4     2 udp      17 {THERE} {BACK} [OFFLOAD] mark=0 zone=0 use=3", None),
        (f"[DESTROY] tcp      6 {TCP}", None),
    ],
)
def test_when_the_kernel_would_forget_it_stands_behind_the_protocol(line: str, expires_s: int | None) -> None:
    found = connection_of(line, "own", NOON)

    assert found is not None
    assert found.expires_s == expires_s


def test_what_nothing_answered_is_marked() -> None:
    traffic = told(
        "ipv4     2 udp      17 28 src=192.0.2.7 dst=203.0.113.9 sport=57082 dport=123 packets=1 bytes=76 [UNREPLIED]"
        " src=203.0.113.9 dst=203.0.113.1 sport=123 dport=57082 packets=0 bytes=0 mark=0 zone=0 use=2"
    )

    assert (traffic.is_answered, traffic.packets, traffic.octets, traffic.back_packets) == (False, 1, 76, 0)


def test_an_answer_without_the_mark_of_many_is_an_answer() -> None:
    assert told(f"udp      17 26 {THERE} packets=1 bytes=64 {BACK} packets=1 bytes=159 mark=0").is_answered is True


def test_without_counts_the_mark_alone_tells_of_an_answer() -> None:
    assert told(f"udp      17 26 {THERE} {BACK} mark=0 use=1").is_answered is True
    assert told(f"udp      17 26 {THERE} [UNREPLIED] {BACK} mark=0 use=1").is_answered is False


def test_a_count_of_no_answers_is_believed_where_the_mark_is_missing() -> None:
    assert told(f"udp      17 {THERE} packets=1 bytes=64 {BACK} packets=0 bytes=0").is_answered is False


def test_a_line_cut_off_before_the_answer_tells_nothing_of_one() -> None:
    assert told(f"udp      17 26 {THERE} packets=1 bytes=64 src=203.0.113.9").is_answered is None


def test_ipv6_is_written_in_full() -> None:
    traffic = told(
        "ipv6     10 udp      17 29 src=fd20:0000:0000:0000:0000:0000:0000:0007 dst=2001:0db8:0001:0000:0000:0000:0000:"
        "0009 sport=38364 dport=123 packets=1 bytes=96 [UNREPLIED] src=2001:0db8:0001:0000:0000:0000:0000:0009 dst=fd20"
        ":0000:0000:0000:0000:0000:0000:0007 sport=123 dport=38364 packets=0 bytes=0 mark=0 zone=0 use=2"
    )

    assert (traffic.sender, traffic.receiver) == (ip_address("fd20::7"), ip_address("2001:db8:1::9"))
    assert (traffic.protocol, traffic.receiver_port) == (17, 123)


def test_icmp_has_a_type_that_is_the_questions() -> None:
    traffic = told(
        "ipv4     2 icmp     1 29 src=192.0.2.7 dst=203.0.113.9 type=8 code=0 id=14959 packets=1 bytes=84 "
        "src=203.0.113.9 dst=203.0.113.1 type=0 code=0 id=14959 packets=1 bytes=84 mark=0 zone=0 use=2"
    )

    assert (traffic.protocol, traffic.icmp_type, traffic.sender_port, traffic.is_answered) == (1, 8, None, True)


def test_who_is_called_through_a_translated_address_is_who_answers() -> None:
    traffic = told(
        "tcp      6 100 ESTABLISHED src=198.51.100.4 dst=203.0.113.1 sport=40000 dport=8080 "
        "src=192.0.2.7 dst=198.51.100.4 sport=80 dport=40000 [ASSURED] mark=0 use=1"
    )

    assert (traffic.sender, traffic.receiver) == (ip_address("198.51.100.4"), ip_address("192.0.2.7"))
    assert (traffic.sender_port, traffic.receiver_port) == (40000, 80)


def test_a_protocol_that_the_kernel_does_not_know_has_its_number() -> None:
    assert told("unknown  2 590 src=192.0.2.7 dst=224.0.0.22 [UNREPLIED] src=224.0.0.22 dst=192.0.2.7").protocol == 2


@pytest.mark.parametrize(
    "line",
    [
        "",
        "conntrack v1.4.7 (conntrack-tools): 54 flow entries have been shown.",
        "tcp 6 100 ESTABLISHED src=192.0.2.7",
        "tcp 6 100 ESTABLISHED src=relay dst=203.0.113.9",
        "tcp 6 100 ESTABLISHED dst=203.0.113.9 sport=1",
    ],
)
def test_a_line_without_two_addresses_tells_nothing(line: str) -> None:
    assert connection_of(line, "own", NOON) is None


def test_numbers_over_their_field_are_left_out() -> None:
    traffic = told("tcp 6 1 src=192.0.2.7 dst=203.0.113.9 sport=70000 dport=-1 packets=99999999999999999999 bytes=1e3")

    assert (traffic.sender_port, traffic.receiver_port, traffic.packets, traffic.octets) == (None, None, 0, 0)
