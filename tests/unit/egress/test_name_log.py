"""Lines of a resolver's log, as dnsmasq 2.90 wrote them, and by a pattern of a site's own."""

from collections.abc import Iterable
from datetime import UTC, datetime
from ipaddress import ip_address

import pytest

from pattress.egress.name_log import MAX_QUESTIONS, NameLog
from pattress.model.encounter import Lookup, NameAnswer
from pattress.model.watching import WatchSource

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
HEAD = "Nov 25 09:06:15 dnsmasq[15267]: "
RELAY = "192.0.2.7"


def log(pattern: str | None = None) -> NameLog:
    return NameLog(WatchSource(name="resolver", kind="names", pattern=pattern))


def lookup(name: str, record_type: str | None = "A", asker: str = RELAY) -> Lookup:
    return Lookup(source="resolver", at=NOON, asker=ip_address(asker), name=name, record_type=record_type)


def answer(name: str, address: str, asker: str | None = None) -> NameAnswer:
    told_to = None if asker is None else ip_address(asker)
    return NameAnswer(source="resolver", at=NOON, name=name, address=ip_address(address), asker=told_to)


def told(lines: Iterable[str], pattern: str | None = None, head: str = HEAD) -> list[Lookup | NameAnswer]:
    names = log(pattern)
    return [one for line in lines for one in names.evidence(head + line, NOON)]


def answers(lines: Iterable[str]) -> list[Lookup | NameAnswer]:
    return [one for one in told(lines) if isinstance(one, NameAnswer)]


@pytest.mark.parametrize("head", [HEAD, "dnsmasq[15267]: ", "dnsmasq: ", "", "Nov 25 09:06:15 router dnsmasq[9]: "])
def test_a_question_is_a_lookup_whatever_stands_before_it(head: str) -> None:
    assert told([f"query[A] API.vendor.example from {RELAY}"], head=head) == [lookup("api.vendor.example")]


@pytest.mark.parametrize("record_type", ["A", "AAAA", "HTTPS", "PTR", "type=12345"])
def test_the_type_of_a_question_is_told(record_type: str) -> None:
    assert told([f"query[{record_type}] x.example from fd20::7"]) == [lookup("x.example", record_type, "fd20::7")]


def test_the_address_behind_aliases_belongs_to_the_name_that_was_asked_for() -> None:
    assert told(
        [
            f"query[A] api.vendor.example from {RELAY}",
            "forwarded api.vendor.example to 203.0.113.9",
            "reply api.vendor.example is <CNAME>",
            "reply edge.vendor.example is <CNAME>",
            "reply cloud.vendor.example is 198.51.100.5",
            "reply cloud.vendor.example is 198.51.100.6",
        ]
    ) == [
        lookup("api.vendor.example"),
        answer("api.vendor.example", "198.51.100.5"),
        answer("api.vendor.example", "198.51.100.6"),
    ]


def test_answers_in_another_order_than_questions_are_told_apart() -> None:
    assert answers(
        [
            f"query[A] one.example from {RELAY}",
            "forwarded one.example to 203.0.113.9",
            "query[A] two.example from 192.0.2.8",
            "forwarded two.example to 203.0.113.9",
            "reply two.example is 198.51.100.2",
            "reply one.example is <CNAME>",
            "reply edge.example is 198.51.100.1",
            "reply three.example is 198.51.100.3",
        ]
    ) == [
        answer("two.example", "198.51.100.2"),
        answer("one.example", "198.51.100.1"),
        answer("three.example", "198.51.100.3"),
    ]


def test_an_alias_that_leads_nowhere_takes_no_later_answer() -> None:
    assert answers(
        [
            f"query[A] mq.lan from {RELAY}",
            "config mq.lan is <CNAME>",
            "reply late.example is 198.51.100.1",
            "cached other.example is <CNAME>",
            "query[A] next.example from 192.0.2.7",
            "cached next.example is 198.51.100.2",
            "reply none.example is <CNAME>",
            "reply end.example is NODATA",
            "reply next.example is 198.51.100.2",
        ]
    ) == [
        answer("late.example", "198.51.100.1"),
        answer("next.example", "198.51.100.2"),
        answer("next.example", "198.51.100.2"),
    ]


def test_serials_tie_an_answer_to_its_question_and_its_asker() -> None:
    assert answers(
        [
            f"1 {RELAY}/57929 query[A] api.vendor.example from {RELAY}",
            f"1 {RELAY}/57929 forwarded api.vendor.example to 203.0.113.9",
            "2 192.0.2.8/40000 query[AAAA] two.example from 192.0.2.8",
            f"1 {RELAY}/57929 reply api.vendor.example is <CNAME>",
            "2 192.0.2.8/40000 cached two.example is <CNAME>",
            f"1 {RELAY}/57929 reply edge.vendor.example is 198.51.100.5",
            "2 192.0.2.8/40000 cached cdn.example is 2001:db8:5::5",
        ]
    ) == [
        answer("api.vendor.example", "198.51.100.5", RELAY),
        answer("two.example", "2001:db8:5::5", "192.0.2.8"),
    ]


def test_a_resolver_that_began_anew_uses_its_serials_again() -> None:
    assert answers(
        [
            f"1 {RELAY}/57929 query[A] old.example from {RELAY}",
            f"1 {RELAY}/57929 query[A] new.example from {RELAY}",
            f"1 {RELAY}/57929 reply cdn.example is 198.51.100.5",
        ]
    ) == [answer("new.example", "198.51.100.5", RELAY)]


def test_an_answer_to_a_question_that_was_not_seen_keeps_its_own_name() -> None:
    assert answers([f"9 {RELAY}/57929 reply cdn.example is 198.51.100.5"]) == [
        answer("cdn.example", "198.51.100.5", RELAY)
    ]


@pytest.mark.parametrize(
    "result",
    [
        "config tracker.example is NXDOMAIN",
        "config tracker.example is 0.0.0.0",
        "config tracker.example is ::",
        "config error is REFUSED (EDE: not ready)",
        "reply error is REFUSED",
        "reply tracker.example is NODATA-IPv4",
        "reply is truncated",
    ],
)
def test_a_name_that_is_refused_was_looked_up_and_has_no_answer(result: str) -> None:
    assert told([f"query[A] tracker.example from {RELAY}", result]) == [lookup("tracker.example")]


@pytest.mark.parametrize("verb", ["reply", "cached", "cached-stale", "config", "DHCP", "/etc/hosts"])
def test_an_address_is_an_answer_wherever_the_resolver_has_it_from(verb: str) -> None:
    assert told([f"{verb} Relay.example. is 198.51.100.5"]) == [answer("relay.example", "198.51.100.5")]


def test_a_name_that_looks_like_the_rest_of_a_line_stays_a_name() -> None:
    assert told(
        [
            f"query[A] x from 192.0.2.99.evil.example from {RELAY}",
            "reply x is 198.51.100.66.evil.example is NXDOMAIN",
            f"query[A] forwarded y is 1.1.1.1 from {RELAY}",
        ]
    ) == [lookup("x from 192.0.2.99.evil.example"), lookup("forwarded y is 1.1.1.1")]


@pytest.mark.parametrize(
    "line",
    [
        "Nov 25 09:06:15 router webserver[9]: query[A] x.example from 192.0.2.7",
        "Nov 25 09:06:15 dnsmasq-dhcp[9]: DHCPACK(iot0) 192.0.2.7 02:00:00:00:00:07 query[A] x from 192.0.2.7",
        "Nov 25 09:06:15 dnsmasq[9]: started, version 2.90 cachesize 150",
        "Nov 25 09:06:15 dnsmasq[9]: using nameserver 203.0.113.9#53",
        "Nov 25 09:06:15 dnsmasq[9]: query[A] x.example from somewhere",
        "Nov 25 09:06:15 dnsmasq[9]: dnssec-query[DS] example to 203.0.113.9",
        "Nov 25 09:06:15 dnsmasq[9]: query[NS] . from 192.0.2.7",
        f"Nov 25 09:06:15 dnsmasq[9]: query[A] {'x' * 254} from 192.0.2.7",
        "",
    ],
)
def test_other_lines_tell_nothing(line: str) -> None:
    assert told([line], head="") == []


def test_no_more_questions_are_kept_than_the_bound() -> None:
    names = log()
    for serial in range(MAX_QUESTIONS + 100):
        names.evidence(f"{serial} {RELAY}/1 query[A] n{serial}.example from {RELAY}", NOON)

    assert len(names._questions) == MAX_QUESTIONS
    assert names.evidence(f"{MAX_QUESTIONS + 99} {RELAY}/1 reply cdn.example is 198.51.100.5", NOON) == [
        answer(f"n{MAX_QUESTIONS + 99}.example", "198.51.100.5", RELAY)
    ]


OWN = r"client (?P<asker>\S+)#\d+ .*query: (?P<name>\S+) IN (?P<type>\S+)(?: -> (?P<answer>\S+))?"


def test_a_pattern_of_the_sites_own_tells_lookups_and_answers() -> None:
    lines = [f"client {RELAY}#4000 (x): query: X.example. IN aaaa -> 2001:db8::5", f"client {RELAY}#1 query: y IN A"]

    assert told(lines, OWN, head="") == [
        lookup("x.example", "AAAA"),
        answer("x.example", "2001:db8::5", RELAY),
        lookup("y"),
    ]


@pytest.mark.parametrize(
    "line",
    [
        "something else",
        "client relay#4000 query: x.example IN A",
        f"client {RELAY}#4000 {'x' * 1024} query: x.example IN A",
        f"client {RELAY}#4000 query: . IN NS",
    ],
)
def test_what_a_pattern_does_not_fit_or_fits_without_an_address_tells_nothing(line: str) -> None:
    assert told([line], OWN, head="") == []


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        (r"(?P<asker>\S+", "no regular expression"),
        (r"(?P<asker>\S+) \S+", "no group named name"),
        (r"\S+", "no group named asker and none named name"),
        ("(?P<asker>.)(?P<name>.)" + "x" * 500, "at most 500"),
        (r"(?P<asker>.)(?P<name>x{99999999999})", "no regular expression"),
    ],
)
def test_a_pattern_that_cannot_work_is_refused_with_the_reason(pattern: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        log(pattern)
