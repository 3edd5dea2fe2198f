"""Evidence into encounters: how far what a device did went."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from typing import Any

import pytest

from pattress.egress.allowances import Allowances
from pattress.egress.conversations import MAX_CONVERSATIONS, PAIRING
from pattress.egress.judge import ERROR_BACK, FROM_OUTSIDE, ONLY_ANSWER, ONLY_RESET, REFUSED, Judge
from pattress.egress.space import Space
from pattress.egress.tally import Tallies
from pattress.egress.whereabouts import Whereabouts
from pattress.model.device import Device
from pattress.model.encounter import Encounter, Lookup, NameAnswer, Traffic
from pattress.model.plan import Plan, Point
from pattress.model.site import Networks
from pattress.model.watching import Allowance

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
LAMP, HUB, FAR = ip_address("10.20.0.7"), ip_address("10.20.0.2"), ip_address("203.0.113.9")
MAC = "02:00:5e:00:53:07"
NETWORKS = Networks(
    devices=(ip_network("10.20.0.0/24"), ip_network("fd20::/64")),
    inside=(ip_network("10.20.0.0/24"), ip_network("fd20::/64"), ip_network("10.30.0.0/24")),
    outside=(ip_network("203.0.113.0/24"), ip_network("2001:db8:1::/48")),
)
PLAN = Plan(points=(Point(name="hall-lights", room="Hall", kind="tidewire-r1", mac=MAC),))
SYN, SYN_ACK, RST_ACK, ALL = 0x02, 0x12, 0x14, 0x1B


def judge(*allowances: Allowance) -> Judge:
    lamp = Device(
        id=f"mac:{MAC}", mac=MAC, serial=None, name="lamp", kind="tidewire-r1",
        addresses=((str(LAMP), None), ("fd20::7", None)), sightings=(),
    )  # fmt: skip
    whereabouts = Whereabouts(PLAN, [lamp], own=[ip_address("10.20.0.3")])
    return Judge(NETWORKS, Space(NETWORKS), Allowances(allowances, plan=PLAN), whereabouts, Tallies())


def out(**more: Any) -> Traffic:
    """Packets of the lamp to a web server outside."""
    return Traffic(
        **{
            "source": "router", "at": NOON, "sender": LAMP, "receiver": FAR, "protocol": 6, "sender_port": 50_000,
            "receiver_port": 443, "packets": 3, "octets": 180, **more,
        }
    )  # fmt: skip


def back(**more: Any) -> Traffic:
    """Packets the other way."""
    return out(**{"sender": FAR, "receiver": LAMP, "sender_port": 443, "receiver_port": 50_000, **more})


def shown(encounters: list[Encounter]) -> list[tuple[str, str, str, str | None]]:
    return [(one.kind, one.device, one.remote, one.remark) for one in encounters]


def told(asked: Judge, *evidence: Traffic) -> list[tuple[str, str, str, str | None]]:
    """What evidence comes to in the end."""
    at_once = [one for traffic in evidence for one in asked.judge(traffic)]
    return shown(at_once + asked.settled(None))


DEVICE = f"mac:{MAC}"


@pytest.mark.parametrize(
    ("evidence", "kind", "remark"),
    [
        ([out(verdict="dropped")], "tried", None),
        ([out(verdict="let-through")], "reached", None),
        ([out(flags=SYN)], "tried", None),
        ([out(flags=SYN, sampling=100)], "tried", "one packet in 100 is looked at, an answer may have been missed"),
        ([out(back_packets=2, back_octets=120)], "reached", None),
        ([out(is_answered=True)], "reached", None),
        ([out(is_answered=False)], "tried", None),
        ([out(packets=0, octets=0, back_packets=2, back_octets=90, is_answered=False, sender_port=80,
              receiver_port=50_001)], "approached", None),
        ([back(packets=0, octets=0, back_packets=2, back_octets=90, is_answered=False)], "tried", None),
        ([out(flags=ALL), back(flags=ALL)], "reached", None),
        ([back(flags=ALL), out(flags=ALL)], "reached", None),
        ([out(flags=SYN), back(flags=RST_ACK)], "tried", ONLY_RESET),
        ([out(flags=SYN, back_packets=1, back_octets=40, back_flags=RST_ACK)], "tried", ONLY_RESET),
        ([back(flags=SYN_ACK)], "reached", ONLY_ANSWER),
        ([back(flags=RST_ACK)], "tried", ONLY_RESET),
        ([out(sender_port=80, receiver_port=50_001)], "approached", None),
        ([back(sender_port=50_001, receiver_port=80, flags=SYN)], "approached", None),
        ([back(sender_port=50_001, receiver_port=80, verdict="dropped")], "approached", None),
        ([back(sender_port=50_001, receiver_port=80), out(sender_port=80, receiver_port=50_001)],
         "reached", FROM_OUTSIDE),
        ([back(sender_port=50_001, receiver_port=80, flags=SYN),
          out(sender_port=80, receiver_port=50_001, flags=RST_ACK)], "approached", REFUSED),
        ([back(sender_port=443, receiver_port=50_000, initiator="sender")], "approached", None),
        ([out(protocol=1, sender_port=None, receiver_port=None, icmp_type=8)], "tried", None),
        ([out(protocol=1, sender_port=None, receiver_port=None, icmp_type=8),
          back(protocol=1, sender_port=None, receiver_port=None, icmp_type=0)], "reached", None),
    ],
)  # fmt: skip
def test_how_far_it_went(evidence: list[Traffic], kind: str, remark: str | None) -> None:
    assert told(judge(), *evidence) == [(kind, DEVICE, "203.0.113.9", remark)]


def test_what_went_both_ways_is_told_at_once_and_what_only_left_waits_for_its_answer() -> None:
    asked = judge()

    assert asked.judge(out()) == []
    assert asked.settled(NOON + PAIRING) == []
    assert shown(asked.judge(back(at=NOON + timedelta(seconds=30)))) == [("reached", DEVICE, "203.0.113.9", None)]
    assert asked.settled(None) == []


def test_what_keeps_being_tried_from_one_port_is_told_while_it_goes_on() -> None:
    asked, minute = judge(), timedelta(minutes=1)
    told: list[Encounter] = []

    for number in range(8):
        at = NOON + number * minute
        told += asked.judge(out(protocol=17, sender_port=123, receiver_port=123, at=at)) + asked.settled(at)

    assert [(one.kind, one.count, one.first_at - NOON, one.last_at - NOON) for one in told] == [
        ("tried", 4, 0 * minute, 3 * minute),
        ("tried", 4, 4 * minute, 7 * minute),
    ]
    assert asked.settled(None) == []


def test_packets_between_the_same_ends_that_lie_far_apart_answer_nothing() -> None:
    asked, late = judge(), NOON + timedelta(days=3)
    asked.judge(out())

    assert [(one.kind, one.last_at) for one in asked.judge(back(at=late))] == [("tried", NOON)]
    assert shown(asked.settled(None)) == [("reached", DEVICE, "203.0.113.9", ONLY_ANSWER)]


def test_both_directions_are_counted_once() -> None:
    asked = judge()
    asked.judge(out())
    [first] = asked.judge(back(packets=2, octets=900))
    [second] = asked.judge(out(packets=5, octets=500))

    assert (first.packets_out, first.octets_out, first.packets_in, first.octets_in) == (3, 180, 2, 900)
    assert (second.packets_out, second.octets_out, second.packets_in, second.octets_in) == (5, 500, 0, 0)
    assert (first.port, first.protocol, first.count, second.count) == (443, 6, 2, 1)


def test_of_two_sources_that_see_the_same_packets_one_counts_them() -> None:
    asked = judge()
    asked.judge(out())
    asked.judge(out(source="connections", packets=3, octets=180, is_answered=False))
    [one] = asked.settled(None)

    assert (one.octets_out, one.count, one.sources) == (180, 2, ("router", "connections"))


def test_an_error_message_from_outside_answers_what_the_device_sent_before() -> None:
    error = back(protocol=1, sender_port=None, receiver_port=None, icmp_type=11, sender=ip_address("203.0.113.1"))

    assert ("reached", DEVICE, "203.0.113.1", ERROR_BACK) in told(judge(), out(), error)
    assert told(judge(), error) == [("approached", DEVICE, "203.0.113.1", None)]
    late = replace(error, at=NOON + PAIRING + timedelta(seconds=1))
    assert ("approached", DEVICE, "203.0.113.1", None) in told(judge(), out(), late)


def test_a_device_is_known_by_its_hardware_address_and_by_its_newest_address() -> None:
    elsewhere = ip_address("10.20.0.99")

    assert told(judge(), out(sender=elsewhere, sender_mac=MAC))[0][1] == DEVICE
    assert told(judge(), out(sender=elsewhere))[0][1] == "address:10.20.0.99"
    assert told(judge(), out(sender=elsewhere, sender_mac="02:00:00:00:00:01"))[0][1] == "address:10.20.0.99"
    far6 = ip_address("2001:db8:1::9")
    assert told(judge(), out(sender=ip_address("fd20::7"), receiver=far6)) == [("tried", DEVICE, "2001:db8:1::9", None)]


@pytest.mark.parametrize(
    "harmless",
    [
        out(receiver=HUB),
        out(receiver=ip_address("10.30.0.5")),
        out(receiver=ip_address("224.0.0.251")),
        out(receiver=ip_address("255.255.255.255")),
        out(receiver=ip_address("169.254.1.1")),
        out(receiver=ip_address("ff02::fb"), sender=ip_address("fd20::7")),
        out(receiver=ip_address("fe80::1"), sender=ip_address("fd20::7")),
        out(sender=ip_address("10.20.0.3"), back_packets=3),
    ],
    ids=str,
)
def test_what_stays_inside_and_what_this_host_does_is_no_encounter(harmless: Traffic) -> None:
    assert told(judge(), harmless) == []


def test_what_concerns_the_outside_and_no_device_is_counted() -> None:
    tallies = Tallies()
    asked = Judge(NETWORKS, Space(NETWORKS), Allowances(), Whereabouts(PLAN, []), tallies)

    asked.judge(out(sender=ip_address("10.30.0.9")))
    asked.judge(out(sender=ip_address("198.41.0.4")))

    assert tallies.of("router").unmatched == 2
    assert asked.settled(None) == []


def test_what_the_site_allows_is_no_encounter() -> None:
    time = Allowance(reason="the time", network=ip_network("203.0.113.9/32"), ports=((443, 443),), protocol=6)
    inbound = replace(time, ports=((80, 80),), is_inbound=True)
    from_outside = back(sender_port=50_001, receiver_port=80)

    assert told(judge(time), out(), back()) == []
    assert told(judge(time), out(receiver_port=123)) != []
    assert told(judge(time), from_outside) != []
    assert told(judge(inbound), from_outside) == []


def test_a_name_that_was_answered_before_is_told_with_its_address_and_can_be_what_is_allowed() -> None:
    answer = NameAnswer(source="resolver", at=NOON, name="time.example", address=FAR, asker=LAMP)
    asked, allowing = judge(), judge(Allowance(reason="the time", name="*.example"))
    asked.judge(answer)
    allowing.judge(answer)

    asked.judge(out())
    [one] = asked.settled(None)

    assert (one.remote, one.name) == ("203.0.113.9", "time.example")
    assert told(allowing, out()) == []
    other = replace(answer, asker=HUB)
    asked.judge(replace(other, name="other.example"))
    asked.judge(out())
    assert asked.settled(None)[0].name == "time.example", "what another device was told is no name of this one's"


def test_a_name_that_a_device_was_told_at_one_of_its_addresses_is_told_of_the_others() -> None:
    far6 = ip_address("2001:db8:1::9")
    asked = judge()
    asked.judge(NameAnswer(source="resolver", at=NOON, name="time.example", address=far6, asker=LAMP))

    asked.judge(out(sender=ip_address("fd20::7"), receiver=far6))
    [one] = asked.settled(None)

    assert (one.device, one.name) == (DEVICE, "time.example")


def test_a_name_outside_is_asked_for_and_one_of_the_site_is_not() -> None:
    def lookup(name: str) -> Lookup:
        return Lookup(source="resolver", at=NOON, asker=LAMP, name=name, record_type="A")

    asked = judge(Allowance(reason="the time", name="time.example"))

    [one] = asked.judge(lookup("cloud.example"))
    assert (one.kind, one.device, one.remote, one.sources) == ("asked", DEVICE, "cloud.example", ("resolver",))
    for name in ("hub", "hub.local", "broker.home.arpa", "7.0.20.10.in-addr.arpa", "time.example"):
        assert asked.judge(lookup(name)) == [], name
    assert asked.judge(replace(lookup("cloud.example"), asker=ip_address("10.30.0.5"))) == []


def test_a_flood_of_conversations_is_told_and_takes_no_more_than_its_bound() -> None:
    asked = judge()

    early = [one for port in range(MAX_CONVERSATIONS + 50) for one in asked.judge(out(sender_port=port % 65_536,
             receiver=FAR + port // 65_536))]  # fmt: skip

    assert len(early) == 50
    assert len(early) + len(asked.settled(None)) == MAX_CONVERSATIONS + 50


def test_a_clock_that_is_set_back_keeps_nothing_for_ever() -> None:
    asked = judge()
    asked.judge(out(at=NOON + timedelta(days=1)))

    assert shown(asked.settled(NOON)) == [("tried", DEVICE, "203.0.113.9", None)]
