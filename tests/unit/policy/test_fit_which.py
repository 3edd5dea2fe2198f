"""Which kinds would suit a point."""

from dataclasses import replace
from typing import Any

from pattress.model.circuit import Circuit, Drive, Load
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile, SettingSource
from pattress.policy.fit_which import which
from unit.policy.fit_examples import DIMMER, DRY, HEATER, IEC, LIFT, MAINS, RELAY, TWIN

POWER_UP = (SettingSource(name="output.*.at_power_up", document="all", at="x"),)


def named(profile: Profile, name: str) -> Profile:
    return replace(profile, id=name, settings=POWER_UP)


KINDS = tuple(
    named(profile, name)
    for name, profile in {"twin": TWIN, "relay": RELAY, "dry": DRY, "dimmer": DIMMER, "lift": LIFT}.items()
)


def point(*loads: Load, settings: dict[str, Any] | None = None, drives: tuple[Drive, ...] = ()) -> Point:
    circuit = Circuit(**{**MAINS, "loads": loads})
    return Point(name="here", room="Room", kind="twin", settings=settings or {}, circuit=circuit, drives=drives)


def ranked(here: Point, *profiles: Profile) -> list[tuple[str, str]]:
    candidates = which(here, Plan(points=(here,)), profiles or KINDS, IEC)
    return [(one.profile.id, one.outcome) for one in candidates]


def test_kinds_that_suit_come_first_and_the_one_with_fewer_channels_to_spare_before_the_other() -> None:
    order = ranked(point(HEATER))

    assert order == [
        ("dry", "met"),
        ("relay", "met"),
        ("twin", "met"),
        ("dimmer", "broken"),
        ("lift", "broken"),
    ]


def test_a_load_that_is_too_much_for_some_leaves_the_others() -> None:
    order = ranked(point(replace(HEATER, power_w=3000)))

    assert order[0] == ("relay", "met")
    assert {name for name, outcome in order if outcome == "broken"} == {"twin", "dry", "dimmer", "lift"}


def test_the_reason_against_a_kind_has_the_numbers() -> None:
    here = point(replace(HEATER, power_w=3000))

    candidates = {one.profile.id: one for one in which(here, Plan(points=(here,)), KINDS, IEC)}

    (against,) = candidates["dry"].fits_of("broken")
    assert against.sentence.startswith("towel rail (3000 W resistive at 230 V): 13.04 A against 10 A usable")
    assert candidates["dimmer"].lacks == ("it has no output.1",)


def test_a_kind_whose_data_sheet_is_silent_stands_between() -> None:
    silent = replace(named(RELAY, "silent"), data_sheet=replace(RELAY.data_sheet, maximum_temperature_c=None))

    order = ranked(point(replace(HEATER, power_w=3000)), *KINDS, silent)

    assert order[:2] == [("relay", "met"), ("silent", "unverified")]


def test_a_kind_needs_the_inputs_and_the_settings_of_the_plan() -> None:
    two = point(HEATER, drives=(Drive(input=2, channel="output.1"),))
    planned = point(HEATER, settings={"output.1.at_power_up": "off", "output.1.off_after_s": 60})

    few = {one.profile.id: one.lacks for one in which(two, Plan(points=(two,)), KINDS, IEC)}
    unsaid = {one.profile.id: one.lacks for one in which(planned, Plan(points=(planned,)), KINDS, IEC)}

    assert few["relay"] == ("it has 1 input, and 2 are planned",)
    assert few["twin"] == ()
    assert unsaid["relay"] == ("it does not report output.N.off_after_s, which the plan sets",)
