"""What is shown to whom: the choice of a credential."""

import ipaddress
from pathlib import Path

import pytest

from pattress.model.device import Device
from pattress.model.plan import Plan, Point
from pattress.model.rules import Policy
from pattress.model.site import Credential, Networks, Secret, Site
from pattress.reading.target import target_of
from unit.reading.stand import MAC, profile

KIND = profile()
HALL = Point(name="hall", room="Hall", kind=KIND.id, mac=MAC, certificate_sha256="ab" * 32)
LOFT = Point(name="loft", room="Loft", kind=KIND.id)
FOR_ANY = Credential(secret=Secret("any"))
FOR_KIND = Credential(secret=Secret("kind"), kind=KIND.id)
FOR_OTHER_KIND = Credential(secret=Secret("other kind"), kind="wick-m1")
FOR_POINT = Credential(secret=Secret("point"), point="hall")
FOR_OTHER_POINT = Credential(secret=Secret("other point"), point="loft")


def site(*credentials: Credential) -> Site:
    networks = (ipaddress.ip_network("192.0.2.0/24"),)
    return Site(
        name="Mill",
        folder=Path(),
        networks=Networks(devices=networks, inside=networks),
        plan=Plan(points=(HALL, LOFT)),
        policy=Policy(id="none", title="None", rules=(), digest="0"),
        profiles=(KIND,),
        credentials=credentials,
    )


def device(kind: str | None = KIND.id) -> Device:
    return Device(
        id=f"mac:{MAC}", mac=MAC, serial="7", name="tern", kind=kind, addresses=(("192.0.2.9", 80),), sightings=()
    )


@pytest.mark.parametrize(
    ("credentials", "chosen"),
    [
        ([FOR_ANY, FOR_KIND, FOR_POINT], FOR_POINT),
        ([FOR_POINT, FOR_KIND, FOR_ANY], FOR_POINT),
        ([FOR_ANY, FOR_KIND, FOR_OTHER_POINT], FOR_KIND),
        ([FOR_KIND, FOR_ANY], FOR_KIND),
        ([FOR_OTHER_KIND, FOR_OTHER_POINT, FOR_ANY], FOR_ANY),
        ([FOR_OTHER_KIND, FOR_OTHER_POINT], None),
        ([], None),
    ],
)
def test_the_credential_is_that_of_the_point_before_the_kind_before_any(
    credentials: list[Credential], chosen: Credential | None
) -> None:
    target = target_of(site(*credentials), device(), HALL)

    assert target is not None
    assert target.credential is chosen


def test_a_device_that_no_point_plans_is_given_no_credential() -> None:
    target = target_of(site(FOR_ANY, FOR_KIND, FOR_POINT), device(), None)

    assert target is not None
    assert target.credential is None
    assert not target.is_planned


def test_the_pinned_certificate_is_that_of_the_point() -> None:
    planned = target_of(site(), device(), HALL)
    unplanned = target_of(site(), device(), None)

    assert planned is not None
    assert planned.certificate_sha256 == HALL.certificate_sha256
    assert unplanned is not None
    assert unplanned.certificate_sha256 is None


def test_the_identity_and_the_addresses_are_those_of_the_device() -> None:
    target = target_of(site(), device(), HALL)

    assert target is not None
    assert (target.device, target.mac, target.serial, target.name) == (f"mac:{MAC}", MAC, "7", "tern")
    assert target.addresses == (("192.0.2.9", 80),)


def test_the_kind_of_the_point_stands_in_where_the_device_says_none() -> None:
    target = target_of(site(), device(kind=None), HALL)

    assert target is not None
    assert target.profile is KIND


@pytest.mark.parametrize(("kind", "point"), [(None, None), ("wick-m1", HALL)])
def test_a_kind_that_no_profile_knows_is_not_read(kind: str | None, point: Point | None) -> None:
    assert target_of(site(FOR_ANY), device(kind=kind), point) is None
