"""Messages in whatever form they come."""

import pytest

from pattress.egress.syslog import SyslogMessage, parse_message

FIREWALL_TEXT = "IN=iot0 OUT=wan0 SRC=192.0.2.7 DST=203.0.113.9"


def parsed(data: bytes) -> SyslogMessage:
    message = parse_message(data)
    assert message is not None
    return message


@pytest.mark.parametrize(
    ("data", "host", "application", "process_id", "text"),
    [
        (b"<30>Nov 25 09:06:15 router dnsmasq[12]: query", "router", "dnsmasq", "12", "query"),
        (b"<30>Nov 25 09:06:15 dnsmasq[12]: query", None, "dnsmasq", "12", "query"),
        (b"<30>dnsmasq[12]: query", None, "dnsmasq", "12", "query"),
        (b"<4>kernel: [12.3] dropped", None, "kernel", None, "[12.3] dropped"),
        (b"<4>[12.3] dropped", None, None, None, "[12.3] dropped"),
        (b"<4>Nov 25 2026 09:06:15 router kernel: dropped", "router", "kernel", None, "dropped"),
        (b"<4>Wed Nov 25 09:06:15 2026 kern.warn kernel: dropped", "kern.warn", "kernel", None, "dropped"),
        (b"<4>2026-11-25T09:06:15.25+00:00 router kernel: dropped", "router", "kernel", None, "dropped"),
        (b"<4>Nov 25 09:06:15 router it dropped: one", "router", None, None, "it dropped: one"),
        (b"<4>anything at all", None, None, None, "anything at all"),
    ],
)
def test_each_part_of_a_head_may_be_missing(
    data: bytes, host: str | None, application: str | None, process_id: str | None, text: str
) -> None:
    message = parsed(data)

    assert (message.host, message.application, message.process_id, message.text) == (
        host,
        application,
        process_id,
        text,
    )


@pytest.mark.parametrize("stamp", ["Feb 30 12:00:00", "Nov 25 24:00:00", "Nov 00 12:00:00", "2026-13-01T00:00:00Z"])
def test_a_day_or_an_hour_that_does_not_exist_is_no_part_of_the_text(stamp: str) -> None:
    message = parsed(f"<4>{stamp} router kernel: dropped".encode())

    assert (message.host, message.text) == ("router", "dropped")


@pytest.mark.parametrize("data", [b"<192>text", b"<007>text", b"<>text", b"<4text", b"<-1>text"])
def test_what_is_no_priority_stays_in_the_text(data: bytes) -> None:
    message = parsed(data)

    assert (message.facility, message.severity, message.text) == (1, 5, data.decode())


def test_a_message_without_a_priority_is_a_notice_of_a_user() -> None:
    message = parsed(b"Nov 25 09:06:15 router kernel: dropped")

    assert (message.facility, message.severity, message.application) == (1, 5, "kernel")


def test_a_prefix_of_a_rule_that_looks_like_a_tag_stays_in_the_line() -> None:
    message = parsed(b"<4>Nov 25 09:06:15 router iot-drop: " + FIREWALL_TEXT.encode())

    assert message.line == f"iot-drop: {FIREWALL_TEXT}"


def test_the_line_of_a_versioned_message_is_what_a_log_file_would_hold() -> None:
    message = parsed(b"<30>1 2026-11-25T09:06:15Z router dnsmasq 12 - - query[A] relay.example from 192.0.2.7")

    assert message.line == "dnsmasq[12]: query[A] relay.example from 192.0.2.7"


def test_bytes_that_are_no_text_are_replaced() -> None:
    assert parsed(b"<4>a\xffb\xc3").text == "a\ufffdb\ufffd"


def test_a_mark_of_the_byte_order_is_no_part_of_the_text() -> None:
    assert parsed(b"\xef\xbb\xbf<4>kernel: dropped").severity == 4
    assert parsed(b"<4>1 - - - - - - \xef\xbb\xbfdropped").text == "dropped"


def test_line_ends_and_zeros_at_the_end_are_left_out() -> None:
    assert parsed(b"<4>kernel: dropped \r\n\0").text == "dropped "


def test_what_is_over_8_kib_is_cut_off() -> None:
    assert len(parsed(b"<4>" + b"x" * 100_000).text) == 8192 - len("<4>")


@pytest.mark.parametrize("data", [b"", b"\n", b"  \r\n", b"\0\0"])
def test_nothing_is_no_message(data: bytes) -> None:
    assert parse_message(data) is None


def test_structured_data_out_of_form_is_text() -> None:
    message = parsed(b'<4>1 - - - - - [a@1 b="c] text')

    assert (message.structured, message.text) == ({}, '[a@1 b="c] text')
