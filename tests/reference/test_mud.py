"""The example of RFC 8520 section 9, as it was published, and what the standard says of single values."""

import json
from copy import deepcopy
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest

from pattress.egress.allowances import Allowances
from pattress.egress.mud import mud_profile
from pattress.model.watching import MudFile

_EXAMPLE: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "fixtures/mud/lightbulb2000.json").read_text(encoding="utf-8")
)


def test_the_example_holds_the_values_of_the_standard() -> None:
    mud, lists = _EXAMPLE["ietf-mud:mud"], _EXAMPLE["ietf-access-control-list:acls"]["acl"]

    assert {key: value for key, value in mud.items() if not key.endswith("-policy")} == {
        "mud-version": 1,
        "mud-url": "https://lighting.example.com/lightbulb2000",
        "last-update": "2019-01-28T11:20:51+01:00",
        "cache-validity": 48,
        "is-supported": True,
        "systeminfo": "The BMS Example Light Bulb",
    }
    assert [(entry["name"], entry["type"]) for entry in lists] == [
        ("mud-76100-v6to", "ipv6-acl-type"),
        ("mud-76100-v6fr", "ipv6-acl-type"),
    ]


def test_the_example_allows_one_service_over_ipv6_that_the_device_begins() -> None:
    profile = mud_profile(MudFile(file="bulb.json", document=_EXAMPLE, kind="bulb"))

    (allowance,) = profile.allowances
    assert (profile.faults, profile.remarks) == ((), ())
    assert (allowance.name, str(allowance.network)) == ("test.example.com", "::/0")
    assert (allowance.protocol, allowance.ports, allowance.is_inbound) == (6, ((443, 443),), False)
    assert (allowance.kind, allowance.point, allowance.reason) == ("bulb", None, "bulb.json, entry cl0-frdev")


@pytest.mark.parametrize(
    ("remote", "name", "protocol", "port", "is_inbound", "is_allowed"),
    [
        ("2001:db8::1", "test.example.com", 6, 443, False, True),
        ("192.0.2.1", "test.example.com", 6, 443, False, False),
        ("2001:db8::1", "service.bms.example.com", 6, 443, False, False),
        ("2001:db8::1", "test.example.com", 17, 443, False, False),
        ("2001:db8::1", "test.example.com", 6, 80, False, False),
        ("2001:db8::1", "test.example.com", 6, 443, True, False),
    ],
    ids=["as written", "IPv4", "another name", "UDP", "another port", "begun outside"],
)
def test_the_example_allows_nothing_else(
    remote: str, name: str, protocol: int, port: int, is_inbound: bool, is_allowed: bool
) -> None:
    allowances = Allowances([], [MudFile(file="bulb.json", document=_EXAMPLE, kind="bulb")])

    found = allowances.allowed(
        point=None,
        kind="bulb",
        remote=ip_address(remote),
        names=[name],
        protocol=protocol,
        port=port,
        is_inbound=is_inbound,
    )

    assert (found is not None) == is_allowed


def test_the_older_name_of_the_container_means_the_same() -> None:
    """Drafts of RFC 8519 until 2018 named it so, and files of that time still do: common practice."""
    older = dict(_EXAMPLE)
    older["ietf-access-control-list:access-lists"] = older.pop("ietf-access-control-list:acls")

    profile = mud_profile(MudFile(file="bulb.json", document=older))

    assert profile == mud_profile(MudFile(file="bulb.json", document=_EXAMPLE))


@pytest.mark.parametrize(
    ("key", "value", "source"),
    [
        ("mud-version", 2, "section 3.1: the version is 1"),
        ("mud-url", "http://lighting.example.com/lightbulb2000", "section 3.3: https"),
        ("last-update", "2019-01-28", "section 3.4: a date and time, RFC 6991 section 3"),
        ("cache-validity", 0, "section 3.5: 1 to 168 hours"),
        ("cache-validity", 169, "section 3.5"),
        ("is-supported", "true", "section 3.6: boolean, RFC 7951 section 6.3"),
        ("systeminfo", "x" * 61, "section 3.7: at most 60 characters"),
    ],
)
def test_a_value_beyond_the_standard_is_a_fault_where_it_stands(key: str, value: object, source: str) -> None:
    document = deepcopy(_EXAMPLE)
    document["ietf-mud:mud"][key] = value

    profile = mud_profile(MudFile(file="bulb.json", document=document))

    assert [fault.place for fault in profile.faults] == [f"/ietf-mud:mud/{key}"], source
    assert profile.allowances == ()


@pytest.mark.parametrize(("key", "value"), [("cache-validity", 1), ("cache-validity", 168), ("systeminfo", "x" * 60)])
def test_a_value_at_the_limit_of_the_standard_is_none(key: str, value: object) -> None:
    document = deepcopy(_EXAMPLE)
    document["ietf-mud:mud"][key] = value

    assert mud_profile(MudFile(file="bulb.json", document=document)).faults == ()


@pytest.mark.parametrize(
    ("access_list", "wrong"), [(0, "ietf-acldns:dst-dnsname"), (1, "ietf-acldns:src-dnsname")], ids=["to", "from"]
)
def test_a_name_for_the_device_itself_is_a_fault(access_list: int, wrong: str) -> None:
    """RFC 8520 section 8.2: src-dnsname not in from-device policies, dst-dnsname not in to-device policies."""
    document = deepcopy(_EXAMPLE)
    entry = document["ietf-access-control-list:acls"]["acl"][access_list]["aces"]["ace"][0]
    entry["matches"]["ipv6"][wrong] = "bulb.example.com"

    (fault,) = mud_profile(MudFile(file="bulb.json", document=document)).faults

    assert fault.place.endswith(f"/acl/{access_list}/aces/ace/0/matches/ipv6/{wrong}")
