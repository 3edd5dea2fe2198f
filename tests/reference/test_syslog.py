"""Syslog against the examples of its standards, each beside where it stands."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from pattress.egress.framing import Framer
from pattress.egress.log_head import moment_of, split_head
from pattress.egress.syslog import SyslogMessage, parse_message

NOW = datetime(2003, 11, 1, 0, 0, tzinfo=UTC)
MARK = b"\xef\xbb\xbf"
ELEMENT = '[exampleSDID@32473 iut="3" eventSource="Application" eventID="1011"]'
EXAMPLE = {"iut": "3", "eventSource": "Application", "eventID": "1011"}
PRIORITY = '[examplePriority@32473 class="high"]'
WEST_7 = timezone(timedelta(hours=-7))

EXAMPLES_5424 = [
    b"<34>1 2003-10-11T22:14:15.003Z mymachine.example.com su - ID47 - "
    + MARK
    + b"'su root' failed for lonvick on /dev/pts/8",
    b"<165>1 2003-08-24T05:14:15.000003-07:00 192.0.2.1 myproc 8710 - - %% It's time to make the do-nuts.",
    b"<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 "
    + ELEMENT.encode()
    + b" "
    + MARK
    + b"An application event log entry...",
    b"<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog - ID47 " + (ELEMENT + PRIORITY).encode(),
]


def parsed(data: bytes) -> SyslogMessage:
    message = parse_message(data)
    assert message is not None
    return message


def test_rfc_5424_section_6_5_example_1_has_no_structured_data() -> None:
    assert parsed(EXAMPLES_5424[0]) == SyslogMessage(
        facility=4,
        severity=2,
        host="mymachine.example.com",
        application="su",
        message_id="ID47",
        text="'su root' failed for lonvick on /dev/pts/8",
        line="su: 'su root' failed for lonvick on /dev/pts/8",
    )


def test_rfc_5424_section_6_5_example_2_has_a_process() -> None:
    assert parsed(EXAMPLES_5424[1]) == SyslogMessage(
        facility=20,
        severity=5,
        host="192.0.2.1",
        application="myproc",
        process_id="8710",
        text="%% It's time to make the do-nuts.",
        line="myproc[8710]: %% It's time to make the do-nuts.",
    )


def test_rfc_5424_section_6_5_example_3_has_structured_data_and_a_text() -> None:
    message = parsed(EXAMPLES_5424[2])

    assert message.structured == {"exampleSDID@32473": EXAMPLE}
    assert message.text == "An application event log entry..."
    assert (message.facility, message.severity, message.application, message.message_id) == (20, 5, "evntslog", "ID47")


def test_rfc_5424_section_6_5_example_4_has_structured_data_only() -> None:
    message = parsed(EXAMPLES_5424[3])

    assert message.structured == {"exampleSDID@32473": EXAMPLE, "examplePriority@32473": {"class": "high"}}
    assert message.text == ""


@pytest.mark.parametrize(
    ("stamp", "expected", "source"),
    [
        (
            "1985-04-12T23:20:50.52Z",
            datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC),
            "RFC 5424 section 6.2.3.1 example 1",
        ),
        (
            "1985-04-12T19:20:50.52-04:00",
            datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC),
            "example 2: the same moment as example 1",
        ),
        ("2003-10-11T22:14:15.003Z", datetime(2003, 10, 11, 22, 14, 15, 3000, tzinfo=UTC), "example 3"),
        ("2003-08-24T05:14:15.000003-07:00", datetime(2003, 8, 24, 5, 14, 15, 3, tzinfo=WEST_7), "example 4"),
        ("2003-08-24T05:14:15.000000003-07:00", None, "example 5: more than six digits are not valid"),
        ("-", None, "section 6.2.3: the nil value"),
        ("2003-10-11t22:14:15.003Z", None, "section 6.2.3: T and Z must be upper case"),
        ("2003-10-11T22:14:15.003z", None, "section 6.2.3: T and Z must be upper case"),
        ("2003-10-11T22:14:60Z", None, "section 6.2.3: no leap seconds"),
        ("2003-10-11T22:14:15.003", None, "section 6.2.3: an offset is required"),
    ],
)
def test_a_timestamp_of_rfc_5424_is_read_from_a_log_file_or_is_none(
    stamp: str, expected: datetime | None, source: str
) -> None:
    """Of a message it is stepped over, for what comes live is of when it came."""
    head = split_head(f"{stamp} host su: text")
    message = parsed(f"<34>1 {stamp} host su - - - text".encode())

    assert (None if head.stamp is None else moment_of(head.stamp, NOW)) == expected, source
    assert (message.host, message.text) == ("host", "text"), source


@pytest.mark.parametrize(
    ("data", "structured", "text", "source"),
    [
        (ELEMENT, {"exampleSDID@32473": EXAMPLE}, "", "RFC 5424 section 6.3.5 example 1"),
        (
            ELEMENT + PRIORITY,
            {"exampleSDID@32473": EXAMPLE, "examplePriority@32473": {"class": "high"}},
            "",
            "example 2: two elements",
        ),
        (
            f"{ELEMENT} {PRIORITY}",
            {"exampleSDID@32473": EXAMPLE},
            PRIORITY,
            "example 3: after a space all is text",
        ),
        (
            f"[ {ELEMENT[1:]}{PRIORITY}",
            {},
            f"[ {ELEMENT[1:]}{PRIORITY}",
            "example 4: a space before the id makes it invalid",
        ),
        (
            '[sigSig ver="1" rsID="1234" iut="3" signature="xyz"]',
            {"sigSig": {"ver": "1", "rsID": "1234", "iut": "3", "signature": "xyz"}},
            "",
            "example 5: an id that IANA keeps, its values shortened",
        ),
        (r'[a@1 b="\"\\\]\n"]', {"a@1": {"b": r'"\]\n'}}, "", "section 6.3.3: three characters are escaped, no other"),
        ('[a@1 b="]"]', {}, '[a@1 b="]"]', "section 6.3.3: a closing bracket must be escaped"),
        ("[a@1]", {"a@1": {}}, "", "section 6.3.1: an element may have no parameters"),
        ('[a@1 b="1" b="2"]', {"a@1": {"b": "2"}}, "", "section 6.3.3: a name may repeat; the last is kept here"),
    ],
)
def test_structured_data_follows_the_standard(
    data: str, structured: dict[str, dict[str, str]], text: str, source: str
) -> None:
    message = parsed(f"<34>1 - host su - - {data}".encode())

    assert (message.structured, message.text) == (structured, text), source


@pytest.mark.parametrize(
    ("facility", "severity"), [(facility, severity) for facility in (0, 4, 23) for severity in (0, 7)]
)
def test_the_priority_is_eight_times_the_facility_and_the_severity(facility: int, severity: int) -> None:
    message = parsed(f"<{facility * 8 + severity}>1 - - - - - - text".encode())  # RFC 5424 section 6.2.1

    assert (message.facility, message.severity) == (facility, severity)


@pytest.mark.parametrize(
    ("data", "expected", "source"),
    [
        (
            b"<34>Oct 11 22:14:15 mymachine su: 'su root' failed for lonvick on /dev/pts/8",
            SyslogMessage(
                facility=4,
                severity=2,
                host="mymachine",
                application="su",
                text="'su root' failed for lonvick on /dev/pts/8",
                line="su: 'su root' failed for lonvick on /dev/pts/8",
            ),
            "RFC 3164 section 5.4 example 1",
        ),
        (
            b"Use the BFG!",
            SyslogMessage(facility=1, severity=5, text="Use the BFG!", line="Use the BFG!"),
            "example 2: without a priority it counts as <13> (section 4.3.3)",
        ),
        (
            b"<13>Feb  5 17:32:18 10.0.0.99 Use the BFG!",
            SyslogMessage(
                facility=1,
                severity=5,
                host="10.0.0.99",
                text="Use the BFG!",
                line="Use the BFG!",
            ),
            "example 2 as a relay passes it on, the day padded with a space",
        ),
        (
            b"<165>Aug 24 05:34:00 CST 1987 mymachine myproc[10]: %% It's time to make the do-nuts.",
            SyslogMessage(
                facility=20,
                severity=5,
                host="CST",
                text="1987 mymachine myproc[10]: %% It's time to make the do-nuts.",
                line="1987 mymachine myproc[10]: %% It's time to make the do-nuts.",
            ),
            "example 3, shortened (from memory): what follows the time is the host, whatever the sender meant",
        ),
        (
            b"<0>1990 Oct 22 10:52:01 TZ-6 scapegoat.dmz.example.org 10.1.2.3 sched[0]: That's All Folks!",
            SyslogMessage(
                facility=0,
                severity=0,
                text="1990 Oct 22 10:52:01 TZ-6 scapegoat.dmz.example.org 10.1.2.3 sched[0]: That's All Folks!",
                line="1990 Oct 22 10:52:01 TZ-6 scapegoat.dmz.example.org 10.1.2.3 sched[0]: That's All Folks!",
            ),
            "example 4 (from memory): the time is not in the form, so that all of it is text",
        ),
    ],
)
def test_rfc_3164_messages_are_read(data: bytes, expected: SyslogMessage, source: str) -> None:
    assert parsed(data) == expected, source


def test_rfc_6587_section_3_4_1_counted_frames_are_told_apart_by_their_counts() -> None:
    stream = b"".join(b"%d %s" % (len(message), message) for message in EXAMPLES_5424)

    assert Framer().feed(stream) == EXAMPLES_5424


@pytest.mark.parametrize("trailer", [b"\n", b"\0"], ids=["LF, the usual one", "NUL, which some senders use"])
def test_rfc_6587_section_3_4_2_frames_end_with_a_trailer(trailer: bytes) -> None:
    stream = b"".join(message + trailer for message in EXAMPLES_5424)

    assert Framer().feed(stream) == EXAMPLES_5424
