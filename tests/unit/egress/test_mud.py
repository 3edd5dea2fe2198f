"""What MUD files come to."""

from typing import Any

import pytest

from pattress.egress.mud import MudProfile, mud_profile
from pattress.model.watching import Allowance, MudFile


def entry(name: str = "one", *, forwarding: str = "accept", **matches: Any) -> dict[str, Any]:
    """An entry that matches what is given."""
    return {"name": name, "matches": matches, "actions": {"forwarding": forwarding}}


def document(*outward: dict[str, Any], inward: tuple[dict[str, Any], ...] = (), sort: str = "ipv4-acl-type") -> Any:
    """A document with these entries in the policies from and to the device."""
    return {
        "ietf-mud:mud": {
            "mud-version": 1,
            "mud-url": "https://maker.example/lamp",
            "last-update": "2026-01-01T00:00:00Z",
            "cache-validity": 48,
            "is-supported": True,
            "from-device-policy": {"access-lists": {"access-list": [{"name": "from"}]}},
            "to-device-policy": {"access-lists": {"access-list": [{"name": "to"}]}},
        },
        "ietf-access-control-list:acls": {
            "acl": [
                {"name": "from", "type": sort, "aces": {"ace": list(outward)}},
                {"name": "to", "type": sort, "aces": {"ace": list(inward)}},
            ]
        },
    }


def profile_of(*outward: dict[str, Any], **more: Any) -> MudProfile:
    """What such a document comes to."""
    return mud_profile(MudFile(file="lamp.json", document=document(*outward, **more), point="hall"))


def to(name: str, **more: Any) -> dict[str, Any]:
    """A match of IPv4 packets to a name."""
    return {"ietf-acldns:dst-dnsname": name, **more}


def ways(profile: MudProfile) -> list[tuple[Any, ...]]:
    """The allowances without whom they are for."""
    return [(rule.name, str(rule.network), rule.protocol, rule.ports, rule.is_inbound) for rule in profile.allowances]


@pytest.mark.parametrize(
    ("ports", "expected"),
    [
        ({"operator": "eq", "port": 443}, ((443, 443),)),
        ({"port": 443}, ((443, 443),)),
        ({"operator": "neq", "port": 0}, ((1, 65535),)),
        ({"operator": "neq", "port": 80}, ((0, 79), (81, 65535))),
        ({"operator": "lte", "port": 1023}, ((0, 1023),)),
        ({"operator": "gte", "port": 49152}, ((49152, 65535),)),
        ({"operator": "range", "lower-port": 1, "upper-port": 9}, ((1, 9),)),
        ({"lower-port": 8, "upper-port": 8}, ((8, 8),)),
    ],
)
def test_ports_are_read_in_every_form(ports: dict[str, Any], expected: tuple[tuple[int, int], ...]) -> None:
    profile = profile_of(entry(ipv4=to("a.example"), udp={"destination-port": ports}))

    assert ways(profile) == [("a.example", "0.0.0.0/0", 17, expected, False)]


@pytest.mark.parametrize(
    ("ports", "place"),
    [
        ({}, ""),
        ({"operator": "eq"}, ""),
        ({"lower-port": 9, "upper-port": 8}, ""),
        ({"lower-port": 9}, ""),
        ({"port": 1, "lower-port": 1, "upper-port": 2}, ""),
        ({"operator": "near", "port": 1}, "/operator"),
        ({"port": 65536}, "/port"),
        ({"port": True}, "/port"),
        ({"port": "443"}, "/port"),
        ({"port": None}, ""),
    ],
    ids=str,
)
def test_ports_that_mean_nothing_are_a_fault(ports: dict[str, Any], place: str) -> None:
    (fault,) = profile_of(entry(ipv4=to("a.example"), udp={"destination-port": ports})).faults

    start = "/ietf-access-control-list:acls/acl/0/aces/ace/0/matches/udp/destination-port"
    assert fault.place == start + place


def test_an_allowance_is_for_the_point_that_the_file_is_for() -> None:
    (allowance,) = profile_of(entry(ipv4=to("a.example"))).allowances

    assert (allowance.point, allowance.kind, allowance.reason) == ("hall", None, "lamp.json, entry one")


@pytest.mark.parametrize(
    ("matches", "way"),
    [
        ({"ipv4": {"destination-ipv4-network": "203.0.113.7/24"}}, (None, "203.0.113.0/24", None, (), False)),
        ({"ipv6": {"destination-ipv6-network": "2001:db8::/32"}}, (None, "2001:db8::/32", None, (), False)),
        ({"ipv4": to("203.0.113.7")}, (None, "203.0.113.7/32", None, (), False)),
        ({"ipv6": to("2001:db8::7")}, (None, "2001:db8::7/128", None, (), False)),
        ({"ipv4": to("Time.Example.", protocol=17)}, ("time.example", "0.0.0.0/0", 17, (), False)),
        ({"ipv4": to("a.example"), "icmp": {}}, ("a.example", "0.0.0.0/0", 1, (), False)),
        ({"ipv6": to("a.example"), "icmp": {}}, ("a.example", "::/0", 58, (), False)),
        ({"ipv6": to("a.example"), "tcp": {}}, ("a.example", "::/0", 6, (), False)),
    ],
    ids=str,
)
def test_the_other_side_is_a_network_a_host_or_a_name(matches: dict[str, Any], way: tuple[Any, ...]) -> None:
    assert ways(profile_of(entry(**matches))) == [way]


def test_an_entry_that_matches_everything_allows_everything_and_says_so() -> None:
    of_both = profile_of(entry(), sort="mixed-ipv4-ipv6-acl-type")
    of_ipv4 = profile_of(entry())

    assert ways(of_both) == [(None, "None", None, (), False)]
    assert ways(of_ipv4) == [(None, "0.0.0.0/0", None, (), False)]
    assert of_both.remarks == of_ipv4.remarks == ("entry one: allows everywhere",)


@pytest.mark.parametrize(
    ("classes", "is_remarked"),
    [
        ({"local-networks": [None]}, False),
        ({"controller": "urn:ietf:params:mud:dns"}, False),
        ({"controller": "urn:ietf:params:mud:ntp"}, False),
        ({"controller": "https://maker.example/hub"}, True),
        ({"my-controller": [None]}, True),
        ({"manufacturer": "maker.example"}, True),
        ({"same-manufacturer": [None]}, True),
        ({"model": "https://maker.example/lamp"}, True),
        ({"local-networks": [None], "maker:tomorrow": 1}, True),
        ({}, True),
    ],
    ids=str,
)
def test_what_a_host_is_allows_nothing_outside(classes: dict[str, Any], is_remarked: bool) -> None:
    profile = profile_of(entry(**{"ietf-mud:mud": classes, "ipv4": {"protocol": 6}}))

    assert (profile.allowances, profile.faults) == ((), ())
    assert bool(profile.remarks) == is_remarked


@pytest.mark.parametrize(
    "matches",
    [
        {"ipv4": to("a.example"), "maker:phase-of-moon": {"full": True}},
        {"ipv4": to("a.example", **{"maker:mark": 1})},
        {"ipv4": to("a.example"), "tcp": {"maker:mark": 1}},
        {"ipv4": to("a.example"), "tcp": {"destination-port": {"port": 1, "maker:mark": 1}}},
        {"eth": {"ethertype": "0x0800"}},
    ],
    ids=str,
)
def test_an_entry_that_is_not_understood_allows_nothing_and_is_remarked_on(matches: dict[str, Any]) -> None:
    profile = profile_of(entry(**matches))

    assert (profile.allowances, profile.faults) == ((), ())
    (remark,) = profile.remarks
    assert "not judged: it allows nothing outside" in remark


def test_what_narrows_an_entry_without_changing_where_it_leads_is_left_aside_and_remarked_on() -> None:
    tcp = {"source-port": {"port": 9}, "destination-port": {"port": 443}, "flags": "syn"}
    ipv4 = to("a.example", ttl=64, **{"source-ipv4-network": "192.0.2.0/24"})

    profile = profile_of(entry(ipv4=ipv4, tcp=tcp))

    assert ways(profile) == [("a.example", "0.0.0.0/0", 6, ((443, 443),), False)]
    assert profile.remarks == tuple(
        f"entry one: asks for {what} besides, which is left aside"
        for what in ("the port of the side that begins", "addresses of the device", "ttl", "flags")
    )


@pytest.mark.parametrize(
    ("dropped", "is_allowed"),
    [
        ({}, False),
        ({"ipv4": to("a.example")}, False),
        ({"ipv4": to("b.example")}, True),
        ({"ipv4": {"destination-ipv4-network": "203.0.113.0/24"}}, False),
        ({"ipv6": {}}, True),
        ({"ipv4": {"protocol": 17}}, True),
        ({"tcp": {"destination-port": {"port": 443}}}, False),
        ({"tcp": {"destination-port": {"operator": "neq", "port": 443}}}, True),
        ({"ietf-mud:mud": {"local-networks": [None]}}, True),
        ({"ietf-mud:mud": {"my-controller": [None]}}, False),
        ({"maker:phase-of-moon": {}}, False),
    ],
    ids=str,
)
@pytest.mark.parametrize("forwarding", ["drop", "reject"])
def test_what_was_dropped_before_is_not_allowed_after(
    dropped: dict[str, Any], is_allowed: bool, forwarding: str
) -> None:
    permit = entry("two", ipv4=to("a.example"), tcp={"destination-port": {"port": 443}})

    before = profile_of(entry(forwarding=forwarding, **dropped), permit)
    after = profile_of(permit, entry(forwarding=forwarding, **dropped))

    assert bool(before.allowances) == is_allowed
    assert before.remarks == (
        () if is_allowed else ("entry two: comes after an entry that may drop the same: it allows nothing",)
    )
    assert len(after.allowances) == 1


def test_networks_that_share_no_address_do_not_drop_one_another() -> None:
    drop = entry(forwarding="drop", ipv4={"destination-ipv4-network": "203.0.113.0/25"})
    shares = entry("two", ipv4={"destination-ipv4-network": "203.0.113.0/24"})
    apart = entry("three", ipv4={"destination-ipv4-network": "203.0.113.128/25"})

    by_name = entry("four", ipv4=to("a.example", **{"destination-ipv4-network": "203.0.113.128/25"}))

    assert ways(profile_of(drop, shares, apart, by_name)) == [
        (None, "203.0.113.128/25", None, (), False),
        ("a.example", "203.0.113.128/25", None, (), False),
    ]


FROM = {"ietf-acldns:src-dnsname": "a.example"}


def test_the_outside_may_begin_where_the_policy_to_the_device_lets_it() -> None:
    opened = entry(ipv4=FROM, tcp={"destination-port": {"port": 8080}, "ietf-mud:direction-initiated": "to-device"})
    answers = entry(ipv4=FROM, tcp={"source-port": {"port": 443}, "ietf-mud:direction-initiated": "from-device"})

    profile = profile_of(inward=(opened, answers))

    assert ways(profile) == [("a.example", "0.0.0.0/0", 6, ((8080, 8080),), True)]


def test_answers_are_no_allowance_and_no_remark_where_the_other_direction_begins() -> None:
    asks = entry(ipv4=to("a.example"), udp={"destination-port": {"port": 123}})
    answers = entry("back", ipv4=FROM, udp={"source-port": {"port": 123}})

    with_question, without_question = profile_of(asks, inward=(answers,)), profile_of(inward=(answers,))

    assert ways(with_question) == [("a.example", "0.0.0.0/0", 17, ((123, 123),), False)]
    assert with_question.remarks == ()
    assert without_question.allowances == ()
    assert without_question.remarks == (
        "entry back: names the port of the side that begins, and allows no more than answers",
    )


def test_what_the_document_says_besides_is_remarked_on() -> None:
    written = document(entry(ipv4=to("a.example")))
    written["ietf-mud:mud"].update({"is-supported": False, "extensions": ["moon"], "mfg-name": "Maker"})
    written["maker:moon"] = {}

    profile = mud_profile(MudFile(file="lamp.json", document=written))

    assert profile.remarks == (
        "the maker no longer supports this device",
        "the extension moon is not judged",
        "'maker:moon': not judged",
    )
    assert len(profile.allowances) == 1


def _with(path: str, value: Any) -> Any:
    written = document(entry(ipv4=to("a.example", protocol=6), tcp={}))
    *steps, last = path.split("/")[1:]
    part = written
    for step in steps:
        part = part[int(step)] if isinstance(part, list) else part[step]
    part[int(last) if isinstance(part, list) else last] = value
    return written


MUD, ACL = "/ietf-mud:mud", "/ietf-access-control-list:acls/acl"


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (MUD, None, f"{MUD}: found null, expected a valid dictionary or instance of MudShape"),
        (f"{MUD}/mud-version", True, f"{MUD}/mud-version: found true, expected a valid integer"),
        (f"{MUD}/last-update", "2026-02-30T00:00:00Z", "expected a date and time that exists"),
        (f"{MUD}/mud-url", "https://[", "expected a URL that begins with https://"),
        (f"{MUD}/from-device-policy/access-lists/access-list/0/name", "gone", "the name of an access list of this"),
        (f"{MUD}/from-device-policy/access-lists/access-list/0/name", "a\u202eb", r"found 'a\u202eb', expected a name"),
        (
            f"{MUD}/from-device-policy/access-lists/access-list",
            [{"name": "from"}] * 2,
            "expected each access list once",
        ),
        (f"{ACL}/1/name", "from", "/acl/1/name: found 'from', expected a name of its own"),
        (f"{ACL}/0/aces", None, "/acl/0: found an object, expected no null in it"),
        (f"{ACL}/0/aces/ace/0/actions", {}, "/ace/0/actions/forwarding: found nothing, expected a value"),
        (f"{ACL}/0/aces/ace/0/actions/forwarding", "maybe", "found 'maybe', expected accept, drop or reject"),
        (f"{ACL}/0/aces/ace/0/matches/ipv4/protocol", 17, "expected the protocol 6, whose ports"),
        (f"{ACL}/0/aces/ace/0/matches/udp", {}, "expected one of tcp, udp and icmp"),
        (f"{ACL}/0/aces/ace/0/matches/ipv6", {}, "expected either ipv4 or ipv6"),
        (f"{ACL}/0/aces/ace/0/matches/ipv6", None, "expected no null in it"),
        (f"{ACL}/0/aces/ace/0/matches/ipv4/ietf-acldns:dst-dnsname", "a b", "found 'a b', expected a host name"),
        (f"{ACL}/0/aces/ace/0/matches/ipv4/destination-ipv4-network", "::/0", "expected a network of IPv4"),
        (f"{ACL}/0/aces/ace/0/matches/ipv4/destination-ipv4-network", "1.2.3.4", "expected a network of IPv4"),
        (f"{ACL}/0/aces/ace", [entry(str(n)) for n in range(513)], "at most 512 items"),
        ("/ietf-access-control-list:acls", {"acl": []}, "the name of an access list of this document"),
    ],
)
def test_a_fault_is_said_in_words_where_it_stands(path: str, value: Any, words: str) -> None:
    profile = mud_profile(MudFile(file="lamp.json", document=_with(path, value)))

    assert profile.allowances == ()
    assert any(words in str(fault) for fault in profile.faults), [str(fault) for fault in profile.faults]


def test_entries_are_bounded_over_all_lists() -> None:
    most = [entry(f"e{number}", ipv4=to("a.example")) for number in range(512)]

    at_bound, beyond = profile_of(*most), profile_of(*most, inward=(entry("one more"),))

    assert len(at_bound.allowances) == 512
    assert [fault.found for fault in beyond.faults] == ["513 entries"]


def test_a_document_that_is_no_object_is_a_fault() -> None:
    profile = mud_profile(MudFile(file="lamp.json", document=[]))  # type: ignore[arg-type]

    assert [str(fault) for fault in profile.faults] == ["lamp.json: found a list, expected an object."]


def test_a_document_without_policies_allows_nothing_and_is_no_fault() -> None:
    written = document()
    del written["ietf-mud:mud"]["from-device-policy"], written["ietf-mud:mud"]["to-device-policy"]
    del written["ietf-access-control-list:acls"]

    assert mud_profile(MudFile(file="lamp.json", document=written)) == MudProfile()


def test_an_allowance_is_what_the_model_calls_one() -> None:
    (allowance,) = profile_of(entry(ipv4=to("a.example"))).allowances

    assert isinstance(allowance, Allowance)
