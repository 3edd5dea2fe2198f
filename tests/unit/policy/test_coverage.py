"""How much of a policy can be judged, before anything is read."""

from dataclasses import replace

import pytest

from pattress.model.plan import Plan
from pattress.model.profile import SettingSource
from pattress.model.rules import Applies, Beyond, Rule
from pattress.policy.coverage import Coverage, Place, coverage, provision_of, reports
from unit.policy.examples import KITCHEN, NETWORKS, TWIN, need, policy, rule

HALL = replace(KITCHEN, name="hall-lamps", room="Hall", settings={})
PLAN = Plan(points=(KITCHEN, HALL))
IN_KITCHEN, IN_HALL = Place(kind="twin", point="kitchen-lamps"), Place(kind="twin", point="hall-lamps")


def covered(*rules: Rule, plan: Plan = PLAN) -> Coverage:
    return coverage(policy(*rules), NETWORKS, plan, [TWIN])


def test_a_rule_is_judged_where_the_kind_reports_all_that_it_asks_for() -> None:
    [one] = covered(rule("cloud", need("cloud.enabled"), need("mac", "present"))).rules

    assert one.places == (IN_KITCHEN, IN_HALL)
    assert one.gaps == ()
    assert not one.is_idle


def test_what_the_kind_does_not_report_is_a_gap_at_each_place() -> None:
    found = covered(rule("both", need("cloud.enabled"), need("mqtt.tls")))

    [one] = found.rules
    assert one.places == ()
    assert [(gap.place, gap.setting, gap.reason) for gap in one.gaps] == [
        (IN_KITCHEN, "mqtt.tls", "twin does not report it"),
        (IN_HALL, "mqtt.tls", "twin does not report it"),
    ]
    assert not found.is_whole


def test_where_the_plan_is_silent_there_is_a_gap_only_there() -> None:
    [one] = covered(rule("power-up", need("output.1.at_power_up", is_planned=True))).rules

    assert one.places == (IN_KITCHEN,)
    assert [(gap.place, gap.reason) for gap in one.gaps] == [(IN_HALL, "the plan of hall-lamps does not say it")]


def test_where_the_data_sheet_is_silent_there_is_a_gap() -> None:
    limit = need("output.*.over_current.limit_a", "at_most", rated="rated_current_a")

    [one] = covered(rule("limit", limit), plan=Plan(points=(KITCHEN,))).rules

    assert [gap.reason for gap in one.gaps] == ["the data sheet of twin does not say rated_current_a"] * 2


def test_a_setting_that_must_not_be_there_can_be_judged_where_it_is_not_reported() -> None:
    found = covered(rule("no-host", need("cloud.host", "absent")))

    assert found.rules[0].places == (IN_KITCHEN, IN_HALL)
    assert found.is_whole


@pytest.mark.parametrize(
    "idle",
    [
        rule("lacking", need("time.server", "present")),
        rule("no-channel", need("dimmer.*.edge", "equal", "leading")),
        rule("elsewhere", need("cloud.enabled"), applies=Applies(rooms=("Cellar",))),
        rule("unplanned", need("output.*.off_after_s", is_planned=True, unplanned="skip")),
    ],
)
def test_a_rule_that_makes_no_check_anywhere_applies_to_nothing(idle: Rule) -> None:
    found = covered(idle)

    assert found.rules[0].is_idle
    assert found.is_whole


def test_a_setting_that_nobody_reports_is_told_with_the_nearest_that_somebody_does() -> None:
    [unreported] = covered(
        rule("a", need("cloud.connected")), rule("b", need("cloud.connected", "equal", False)), rule("c", need("mac"))
    ).unreported

    assert (unreported.setting, unreported.rules) == ("cloud.connected", ("a", "b"))
    assert unreported.nearest == ("cloud.enabled",)


def test_without_points_every_kind_is_looked_at_and_the_plan_is_not_asked() -> None:
    found = covered(
        rule("cloud", need("cloud.enabled")), rule("planned", need("firmware.version", is_planned=True)), plan=Plan()
    )

    assert found.places == (Place(kind="twin", point=None),)
    assert [one.is_idle for one in found.rules] == [False, True]


def test_provisions_are_told_with_the_rules_that_cite_them() -> None:
    rules = (
        rule(
            "a", need("cloud.enabled"), cites=("ETSI EN 303 645 provision 5.6-1 (unused interfaces)", "common practice")
        ),
        rule("b", need("mac"), cites=("ETSI EN 303 645 provision 5.6-1 (M)", "NIST IR 8425 outcome Data Protection")),
    )
    beyond = (Beyond(provision="ETSI EN 303 645 provision 5.2-1 (M)", why="paper"),)

    found = coverage(replace(policy(*rules), beyond=beyond), NETWORKS, PLAN, [TWIN])

    assert found.provisions == {
        "ETSI EN 303 645 5.6-1": ("a", "b"),
        "NIST IR 8425 Data Protection": ("b",),
    }
    assert found.beyond == beyond


@pytest.mark.parametrize(
    ("cite", "provision"),
    [
        ("ETSI EN 303 645 V3.1.3 provision 5.3-4A (R)", "ETSI EN 303 645 V3.1.3 5.3-4A"),
        ("NIST IR 8425 outcome Asset Identification", "NIST IR 8425 Asset Identification"),
        ("IEC 60669-2-1", None),
        ("common practice (value from memory)", None),
    ],
)
def test_a_provision_is_told_from_another_source(cite: str, provision: str | None) -> None:
    assert provision_of(cite) == provision


@pytest.mark.parametrize(
    ("name", "setting", "expected"),
    [
        ("output.*.on", "output.2.on", True),
        ("output.1.on", "output.1.on", True),
        ("output.1.on", "output.2.on", False),
        ("cloud.enabled", "cloud.enabled", True),
        ("cloud.enabled", "cloud.connected", False),
    ],
)
def test_a_kind_reports_a_setting_on_all_channels_or_on_one(name: str, setting: str, expected: bool) -> None:
    kind = replace(TWIN, settings=(SettingSource(name=name, document="all", at="x"),))

    assert reports(kind, setting) is expected
