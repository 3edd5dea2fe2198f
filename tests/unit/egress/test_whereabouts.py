"""Whose an address is, by what is known of devices and by the plan alone."""

from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from typing import Any

import pytest

from pattress.egress.whereabouts import Whereabouts
from pattress.identity import merge
from pattress.model.device import Device, Sighting
from pattress.model.plan import OtherDevice, Plan, Point

LAMP, HUB = "00:00:5e:00:53:11", "00:00:5e:00:53:03"
NOON, DAY = datetime(2026, 3, 1, 12, 0, tzinfo=UTC), timedelta(days=1)
AT, ELSEWHERE = ip_address("192.0.2.11"), ip_address("192.0.2.99")
PLAN = Plan(
    points=(Point(name="hall-lights", room="Hall", kind="tidewire-r1", mac=LAMP),),
    others=(OtherDevice(name="hub", reason="It switches the house.", mac=HUB),),
)


def lamp() -> Device:
    return Device(
        id=f"mac:{LAMP}", mac=LAMP, serial=None, name="lamp", kind="tidewire-r2", addresses=((str(AT), None),),
        sightings=(),
    )  # fmt: skip


def test_a_device_is_known_by_its_address_and_by_its_hardware_address() -> None:
    whereabouts = Whereabouts(PLAN, [lamp()])

    for owner in (whereabouts.owner(AT), whereabouts.owner(ELSEWHERE, LAMP), whereabouts.called(f"mac:{LAMP}")):
        assert (owner.device, owner.title, owner.point, owner.room) == (
            f"mac:{LAMP}",
            "hall-lights",
            "hall-lights",
            "Hall",
        )
        assert owner.kind == "tidewire-r2", "what it is counts before what was planned"


@pytest.mark.parametrize(
    "before",
    [
        {"source": "kept"},
        {"source": "point", "seen_at": NOON + DAY},
        {"source": "neighbour"},
        {"source": "neighbour", "seen_at": NOON + DAY, "is_dated": False},
    ],
    ids=str,
)
def test_an_address_belongs_to_whom_the_best_evidence_of_now_gives_it(before: dict[str, Any]) -> None:
    sightings = [
        Sighting(**{"seen_at": NOON - DAY, "mac": HUB, "address": str(AT)} | before),
        Sighting(source="neighbour", seen_at=NOON, mac=LAMP, address=str(AT)),
    ]

    whereabouts = Whereabouts(PLAN, merge(sightings).devices)

    assert whereabouts.owner(AT).device == f"mac:{LAMP}", "and not that of the first in their order"


def test_what_the_plan_names_is_known_before_anybody_has_seen_it() -> None:
    whereabouts = Whereabouts(PLAN, [])

    owner, other = whereabouts.owner(AT, LAMP), whereabouts.owner(ELSEWHERE, HUB)

    assert (owner.device, owner.title, owner.point, owner.kind) == (
        f"mac:{LAMP}", "hall-lights", "hall-lights", "tidewire-r1",
    )  # fmt: skip
    assert (other.device, other.title, other.point) == (f"mac:{HUB}", "hub", None)
    assert whereabouts.called(f"mac:{HUB}").title == "hub"


def test_what_nobody_knows_goes_by_its_address() -> None:
    whereabouts = Whereabouts(PLAN, [lamp()])

    owner = whereabouts.owner(ELSEWHERE, "00:00:5e:00:53:fe")

    assert (owner.device, owner.point) == ("address:192.0.2.99", None)
    assert owner.title == whereabouts.called("address:192.0.2.99").title == "an unknown device at 192.0.2.99"
