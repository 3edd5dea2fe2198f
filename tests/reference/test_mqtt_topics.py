"""Topic filters against the examples of the standard.

Source: OASIS MQTT Version 3.1.1 (2014-10-29), section 4.7, read in quotations of public test suites.
"""

import pytest

from pattress.wire.topics import filter_fault, matches, topic_fault

MATCHING = [
    ("sport/tennis/player1/#", "sport/tennis/player1", "4.7.1.2"),
    ("sport/tennis/player1/#", "sport/tennis/player1/ranking", "4.7.1.2"),
    ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", "4.7.1.2"),
    ("sport/#", "sport", "4.7.1.2"),
    ("sport/tennis/+", "sport/tennis/player1", "4.7.1.3"),
    ("sport/tennis/+", "sport/tennis/player2", "4.7.1.3"),
    ("sport/+", "sport/", "4.7.1.3"),
    ("+/+", "/finance", "4.7.1.3"),
    ("/+", "/finance", "4.7.1.3"),
    ("#", "homie/5/relay-7/$state", "4.7.2: only a leading $ is special"),
    ("$SYS/#", "$SYS/monitor/Clients", "4.7.2"),
    ("$SYS/monitor/+", "$SYS/monitor/Clients", "4.7.2"),
]
NOT_MATCHING = [
    ("sport/tennis/+", "sport/tennis/player1/ranking", "4.7.1.3"),
    ("sport/+", "sport", "4.7.1.3"),
    ("+", "/finance", "4.7.1.3"),
    ("#", "$SYS/monitor/Clients", "4.7.2"),
    ("+/monitor/Clients", "$SYS/monitor/Clients", "4.7.2"),
    ("ACCOUNTS", "Accounts", "4.7.3: topics are case sensitive"),
]


@pytest.mark.parametrize(("topic_filter", "topic", "source"), MATCHING)
def test_a_filter_matches(topic_filter: str, topic: str, source: str) -> None:
    assert matches(topic_filter, topic), f"MQTT 3.1.1 section {source}"


@pytest.mark.parametrize(("topic_filter", "topic", "source"), NOT_MATCHING)
def test_a_filter_does_not_match(topic_filter: str, topic: str, source: str) -> None:
    assert not matches(topic_filter, topic), f"MQTT 3.1.1 section {source}"


@pytest.mark.parametrize(
    ("topic_filter", "source"),
    [
        ("sport/tennis#", "4.7.1.2"),
        ("sport/tennis/#/ranking", "4.7.1.2"),
        ("sport+", "4.7.1.3"),
        ("", "4.7.3"),
        ("a\0b", "4.7.3"),
        ("a" * 65536, "4.7.3"),
    ],
)
def test_an_invalid_filter_is_refused_with_a_reason(topic_filter: str, source: str) -> None:
    assert filter_fault(topic_filter) is not None, f"MQTT 3.1.1 section {source}"


@pytest.mark.parametrize("topic_filter", sorted({one[0] for one in MATCHING + NOT_MATCHING}))
def test_a_valid_filter_has_no_fault(topic_filter: str) -> None:
    assert filter_fault(topic_filter) is None


@pytest.mark.parametrize("topic", ["sport/+", "sport/#", ""])
def test_a_topic_to_publish_to_holds_no_wildcard(topic: str) -> None:
    assert topic_fault(topic) is not None, "MQTT 3.1.1 sections 4.7.1 and 4.7.3"
