"""Finding what is allowed."""

from ipaddress import ip_address, ip_network
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.egress.allowances import Allowances
from pattress.model.addresses import IPAddress
from pattress.model.plan import Plan, Point
from pattress.model.watching import Allowance, MudFile

TIME_SERVER = Allowance(reason="time", network=ip_network("203.0.113.7"), ports=((123, 123),), protocol=17)


def ask(allowances: Allowances, **changes: Any) -> Allowance | None:
    """Ask for NTP of the time server by a module that nobody knows, but for the changes."""
    asked: dict[str, Any] = {
        "point": None,
        "kind": None,
        "remote": ip_address("203.0.113.7"),
        "names": (),
        "protocol": 17,
        "port": 123,
        "is_inbound": False,
    }
    return allowances.allowed(**(asked | changes))


def test_nothing_is_allowed_that_nobody_wrote() -> None:
    assert ask(Allowances()) is None


@pytest.mark.parametrize(
    ("changes", "is_covered"),
    [
        ({}, True),
        ({"point": "hall", "kind": "relay"}, True),
        ({"remote": ip_address("203.0.113.8")}, False),
        ({"port": 124}, False),
        ({"port": None}, False),
        ({"protocol": 6}, False),
        ({"protocol": None}, False),
        ({"is_inbound": True}, False),
        ({"remote": ip_address("::ffff:203.0.113.7")}, True),
        ({"remote": ip_address("64:ff9b::203.0.113.7")}, True),
        ({"remote": ip_address("2002:cb00:7107::1")}, False),
        ({"remote": ip_address("2001:0:cb00:7107::34ff:8ef8")}, False),
        ({"remote": ip_address("2001:db8::7")}, False),
    ],
    ids=str,
)
def test_an_allowance_covers_what_it_says_and_no_more(changes: dict[str, Any], is_covered: bool) -> None:
    found = ask(Allowances([TIME_SERVER]), **changes)

    assert found is (TIME_SERVER if is_covered else None)


def test_an_allowance_for_the_outside_to_begin_covers_both_ways() -> None:
    allowances = Allowances([Allowance(reason="any", network=ip_network("203.0.113.0/24"), is_inbound=True)])

    assert ask(allowances) is not None
    assert ask(allowances, is_inbound=True) is not None


@pytest.mark.parametrize(
    ("written", "asked", "is_covered"),
    [
        ("time.example", "time.example", True),
        ("Time.Example.", "time.example", True),
        ("time.example", "a.time.example", False),
        ("time.example", "xtime.example", False),
        ("*.pool.example", "0.pool.example", True),
        ("*.pool.example", "a.b.pool.example", True),
        ("*.pool.example", "pool.example", False),
        ("*.pool.example", "spool.example", False),
        ("*.example", "pool.example", True),
    ],
)
def test_a_name_is_exact_or_every_one_below_a_domain(written: str, asked: str, is_covered: bool) -> None:
    allowances = Allowances([Allowance(reason="by name", name=written)])

    assert (allowances.allows_name(point=None, kind=None, name=asked) is not None) == is_covered
    assert (ask(allowances, names=["other.example.net", asked]) is not None) == is_covered


def test_an_allowance_by_address_does_not_allow_to_ask_for_names() -> None:
    allowances = Allowances([TIME_SERVER, Allowance(reason="anywhere")])

    assert allowances.allows_name(point=None, kind=None, name="time.example") is None


def test_a_name_with_a_network_needs_both() -> None:
    allowances = Allowances([Allowance(reason="v6", name="time.example", network=ip_network("2001:db8::/32"))])

    assert ask(allowances, names=["time.example"]) is None
    assert ask(allowances, names=["time.example"], remote=ip_address("2001:db8::1%eth0")) is not None
    assert ask(allowances, remote=ip_address("2001:db8::1")) is None


def test_an_allowance_is_for_its_point_or_kind_alone() -> None:
    of_point = Allowance(reason="hall", network=ip_network("203.0.113.7"), point="hall")
    of_kind = Allowance(reason="relays", network=ip_network("203.0.113.8"), kind="relay")
    plan = Plan(points=(Point(name="hall", room="Hall", kind="relay"),))
    allowances = Allowances([of_point, of_kind], plan=plan)
    other = ip_address("203.0.113.8")

    assert ask(allowances, point="hall") is of_point
    assert ask(allowances, point="porch") is None
    assert ask(allowances) is None
    assert ask(allowances, kind="relay", remote=other) is of_kind
    assert ask(allowances, point="hall", remote=other) is of_kind, "the plan says of which kind the point is"
    assert ask(allowances, point="hall", kind="dimmer", remote=other) is None, "what stands there is of another kind"


def test_the_first_that_covers_is_found_whatever_it_is_found_by() -> None:
    by_domain = Allowance(reason="1", name="*.example", point="hall")
    by_network = Allowance(reason="2", network=ip_network("203.0.113.0/24"))
    anywhere = Allowance(reason="3")
    forward, backward = Allowances([by_domain, by_network, anywhere]), Allowances([anywhere, by_network, by_domain])

    assert ask(forward, point="hall", names=["time.example"]) is by_domain
    assert ask(forward, point="hall") is by_network
    assert ask(backward, point="hall", names=["time.example"]) is anywhere


def test_a_mud_file_with_a_fault_allows_nothing_and_says_so() -> None:
    allowances = Allowances([], [MudFile(file="bulb.json", document={}, kind="bulb")])

    assert [str(fault) for fault in allowances.faults] == [
        "bulb.json: /ietf-mud:mud: found nothing, expected an object."
    ]
    assert ask(allowances, kind="bulb") is None


networks = st.builds(
    lambda number, length: ip_network((number, length), strict=False),
    st.integers(0xCB007100, 0xCB0071FF),
    st.integers(24, 32),
)
some_names = st.sampled_from(["a.example", "b.a.example", "example", "c.example"])
rules = st.builds(
    Allowance,
    reason=st.just("drawn"),
    network=st.none() | networks,
    name=st.none() | some_names | some_names.map("*.".__add__),
    ports=st.just(()) | st.tuples(st.tuples(st.integers(0, 3), st.integers(3, 6))),
    protocol=st.sampled_from([None, 6, 17]),
    point=st.sampled_from([None, "hall"]),
    is_inbound=st.booleans(),
)


@given(
    st.lists(rules, max_size=12),
    st.integers(0xCB007100, 0xCB0071FF).map(lambda number: ip_address(number)),
    st.sets(some_names),
    st.sampled_from([None, 6, 17]),
    st.sampled_from([None, 0, 3, 5]),
    st.booleans(),
    st.sampled_from([None, "hall", "porch"]),
)
def test_the_index_finds_what_looking_at_each_in_turn_finds(
    written: list[Allowance],
    remote: IPAddress,
    names: set[str],
    protocol: int | None,
    port: int | None,
    is_inbound: bool,
    point: str | None,
) -> None:
    def covers(rule: Allowance) -> bool:
        return (
            rule.point in (None, point)
            and (rule.network is None or remote in rule.network)
            and (rule.name is None or any(_is_named(rule.name, name) for name in names))
            and (rule.protocol is None or rule.protocol == protocol)
            and (not rule.ports or any(port is not None and low <= port <= high for low, high in rule.ports))
            and (rule.is_inbound or not is_inbound)
        )

    found = ask(
        Allowances(written),
        remote=remote,
        names=names,
        protocol=protocol,
        port=port,
        is_inbound=is_inbound,
        point=point,
    )

    assert found is next((rule for rule in written if covers(rule)), None)


def _is_named(written: str, name: str) -> bool:
    return name.endswith(written[1:]) if written.startswith("*.") else name == written
