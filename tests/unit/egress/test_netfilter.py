"""Lines of the packet filter, as kernel 6.18 wrote them in namespaces."""

from datetime import UTC, datetime
from ipaddress import ip_address

import pytest

from pattress.egress.netfilter import FirewallLog
from pattress.model.encounter import Traffic, Verdict
from pattress.model.watching import WatchSource

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
MAC = "02:00:00:00:00:07"
ETHERNET = f"MAC=02:00:00:00:00:01:{MAC}:08:00"
V4 = "SRC=192.0.2.7 DST=203.0.113.9 LEN=60 TOS=0x00 PREC=0x00 TTL=63 ID=19526 DF"
V6 = (
    "SRC=fd20:0000:0000:0000:0000:0000:0000:0007 DST=2001:0db8:0001:0000:0000:0000:0000:0009 LEN=96 TC=0 HOPLIMIT=63"
    " FLOWLBL=245544"
)
UDP = "PROTO=UDP SPT=50256 DPT=123 LEN=56 "
PLAIN = f"iot-drop: IN=iot0 OUT=wan0 {ETHERNET} {V4} {UDP}"
LOG = FirewallLog(
    WatchSource(
        name="router-log",
        kind="firewall",
        verdicts={"iot-drop": "dropped", "iot-drop-late": "let-through", "iot-pass: ": "let-through"},
    )
)


def told(text: str) -> Traffic:
    traffic = LOG.evidence(text, NOON)
    assert traffic is not None
    return traffic


def test_a_line_tells_the_packet_and_what_became_of_it() -> None:
    assert told(PLAIN) == Traffic(
        source="router-log",
        at=NOON,
        sender=ip_address("192.0.2.7"),
        receiver=ip_address("203.0.113.9"),
        protocol=17,
        sender_port=50256,
        receiver_port=123,
        packets=1,
        octets=60,
        verdict="dropped",
        sender_mac=MAC,
    )


def test_the_other_style_names_each_part_of_the_link_and_more_of_tcp() -> None:
    traffic = told(
        f"iot-drop: IN=iot0 OUT=wan0 MACSRC={MAC} MACDST=02:00:00:00:00:01 MACPROTO=0800 {V4} PROTO=TCP SPT=55554"
        " DPT=8883 SEQ=3014570174 ACK=0 WINDOW=64240 RES=0x00 SYN URGP=0 OPT (020405B40402080ABF240027) "
    )

    assert (traffic.sender_mac, traffic.protocol, traffic.receiver_port, traffic.flags) == (MAC, 6, 8883, 0x02)


@pytest.mark.parametrize(
    ("words", "flags", "initiator"),
    [
        ("SYN ", 0x02, "sender"),
        ("ACK SYN ", 0x12, "receiver"),
        ("CWR ECE SYN ", 0xC2, "sender"),
        ("ACK PSH ", 0x18, None),
        ("ACK FIN ", 0x11, None),
        ("URG ACK RST ", 0x34, None),
        ("", 0, None),
    ],
)
def test_the_flags_of_tcp_stand_bare_and_tell_who_began(words: str, flags: int, initiator: str | None) -> None:
    traffic = told(f"iot-drop: IN=iot0 OUT=wan0 {V4} PROTO=TCP SPT=1 DPT=2 WINDOW=63 RES=0x00 {words}URGP=0 ")

    assert (traffic.flags, traffic.initiator) == (flags, initiator)


def test_ipv6_is_written_in_full() -> None:
    traffic = told(f"iot-drop: IN=iot0 OUT=wan0 {ETHERNET.replace('08:00', '86:dd')} {V6} {UDP}")

    assert (traffic.sender, traffic.receiver) == (ip_address("fd20::7"), ip_address("2001:db8:1::9"))
    assert (traffic.octets, traffic.receiver_port, traffic.sender_mac) == (96, 123, MAC)


@pytest.mark.parametrize(
    ("rest", "protocol", "icmp_type"),
    [
        (f"{V4} PROTO=ICMP TYPE=8 CODE=0 ID=14959 SEQ=1 ", 1, 8),
        (f"{V6} PROTO=ICMPv6 TYPE=128 CODE=0 ID=7 SEQ=1 ", 58, 128),
        (f"{V4} PROTO=ICMP TYPE=5 CODE=1 GATEWAY=192.0.2.2 [{V4} {UDP}] ", 1, 5),
        (f"{V4} PROTO=ICMP INCOMPLETE [2 bytes] ", 1, None),
    ],
)
def test_icmp_has_a_type_and_no_ports(rest: str, protocol: int, icmp_type: int | None) -> None:
    traffic = told(f"iot-drop: IN=iot0 OUT=wan0 {rest}")

    assert (traffic.protocol, traffic.icmp_type, traffic.sender_port, traffic.receiver_port) == (
        protocol,
        icmp_type,
        None,
        None,
    )


def test_the_packet_that_an_error_quotes_is_not_the_packet() -> None:
    quoted = f"[{V4} PROTO=TCP SPT=57082 DPT=8883 WINDOW=1 RES=0x00 SYN URGP=0 ]"
    traffic = told(
        f"iot-drop: IN=wan0 OUT=iot0 SRC=203.0.113.1 DST=192.0.2.7 LEN=104 TOS=0x00 PREC=0xC0 TTL=63 ID=22335"
        f" PROTO=ICMP TYPE=3 CODE=3 {quoted} "
    )

    assert (traffic.sender, traffic.receiver) == (ip_address("203.0.113.1"), ip_address("192.0.2.7"))
    assert (traffic.protocol, traffic.icmp_type, traffic.octets) == (1, 3, 104)
    assert (traffic.sender_port, traffic.receiver_port, traffic.flags) == (None, None, None)


def test_an_error_cut_off_before_its_protocol_takes_none_from_the_quoted_packet() -> None:
    traffic = told(f"iot-drop: IN=wan0 OUT=iot0 SRC=203.0.113.1 DST=192.0.2.7 LEN=104 [{V4} {UDP}] ")

    assert (traffic.protocol, traffic.receiver_port) == (None, None)


@pytest.mark.parametrize(
    ("rest", "protocol"),
    [
        ("PROTO=47 ", 47),
        ("PROTO=ESP INCOMPLETE [4 bytes] ", 50),
        ("PROTO=UDPLITE SPT=1 DPT=2 LEN=20 ", 136),
        ("PROTO=300 ", None),
        ("PROTO=TRAFFIC ", None),
        ("FRAG:185 PROTO=UDP ", 17),
        ("OPT (94040000) PROTO=2 MARK=0x1 ", 2),
        ("", None),
    ],
)
def test_a_protocol_is_a_name_or_a_number_or_missing(rest: str, protocol: int | None) -> None:
    assert told(f"iot-drop: IN=iot0 OUT=wan0 {V4} {rest}").protocol == protocol


@pytest.mark.parametrize(
    ("link", "mac"),
    [
        ("IN=iot0 OUT=wan0 ", None),
        ("IN=ppp0 OUT= MAC= ", None),
        ("IN=iot0 OUT=wan0 MAC=45:00:00:54:00:00:40:00 ", None),
        (f"IN=br0 OUT=br0 PHYSIN=lan1 PHYSOUT=lan2 {ETHERNET} ", MAC),
        (f"IN=iot0 OUT= MACSRC={MAC} MACDST=33:33:00:00:00:02 MACPROTO=86dd VPROTO=8100 VID=20 ", MAC),
        ("IN=iot0 OUT= MACSRC=02:00:00:00:00:0g ", None),
    ],
)
def test_the_hardware_address_is_the_senders_or_none(link: str, mac: str | None) -> None:
    assert told(f"iot-drop: {link}{V4} {UDP}").sender_mac == mac


@pytest.mark.parametrize(
    ("prefix", "verdict"),
    [
        ("iot-drop: ", "dropped"),
        ("iot-drop ", "dropped"),
        ("iot-drop", "dropped"),
        ("iot-drop:", "dropped"),
        ("iot-drop-late: ", "let-through"),
        ("iot-drop-early: ", "dropped"),
        ("iot-pass: ", "let-through"),
        ("iot-pass", "let-through"),
        ("iot-pas: ", None),
        ("an iot-drop: ", None),
        ("", None),
    ],
)
def test_the_verdict_is_that_of_the_longest_prefix(prefix: str, verdict: str | None) -> None:
    assert told(f"{prefix}IN=iot0 OUT=wan0 {V4} {UDP}").verdict == verdict


def test_how_long_a_prefix_is_does_not_count_what_ends_it() -> None:
    verdicts: dict[str, Verdict] = {"iot:  ": "dropped", "iot-p": "let-through"}
    log = FirewallLog(WatchSource(name="router-log", kind="firewall", verdicts=verdicts))

    found = log.evidence(f"iot-p IN=iot0 OUT=wan0 {V4} {UDP}", NOON)

    assert found is not None
    assert found.verdict == "let-through"


@pytest.mark.parametrize(
    "head",
    [
        "[12345.678901] ",
        "[    5.000001] ",
        "kernel: [12345.678901] ",
        "Nov 25 09:06:15 router kernel: [12345.678901] ",
        "Nov 25 09:06:15 router kernel: ",
        "Nov 25 09:06:15 router ",
        "2026-11-25T09:06:15.5+01:00 router kernel: ",
    ],
)
def test_what_stands_before_the_prefix_is_no_part_of_it(head: str) -> None:
    traffic = told(head + PLAIN)

    assert (traffic.verdict, traffic.at) == ("dropped", NOON)


@pytest.mark.parametrize(
    "line",
    [
        "",
        "Nov 25 09:06:15 router dnsmasq[12]: query[A] relay.example from 192.0.2.7",
        "nf_conntrack: table full, dropping packet",
        "IN=iot0 OUT= ARP HTYPE=1 PTYPE=0x0800 OPCODE=1 MACSRC=02:00:00:00:00:07 IPSRC=192.0.2.7 IPDST=192.0.2.1",
        f"{V4} {UDP}",
        f"said SRC={V4}",
        "iot-drop: IN=iot0 OUT=wan0 SRC=relay DST=203.0.113.9 LEN=60 PROTO=UDP ",
        "iot-drop: IN=iot0 OUT=wan0 SRC=192.0.2.7 DST=300.0.113.9 LEN=60 PROTO=UDP ",
        "iot-drop: IN=iot0 OUT=wan0 SRC=192.0.2.7",
        f"{'x' * 9000} {PLAIN}",
    ],
)
def test_a_line_that_is_not_of_the_filter_tells_nothing(line: str) -> None:
    assert LOG.evidence(line, NOON) is None


def test_a_program_that_quotes_a_line_is_not_the_filter() -> None:
    assert LOG.evidence(f"Nov 25 09:06:15 router webserver[99]: GET /{PLAIN}", NOON) is None
