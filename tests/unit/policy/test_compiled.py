"""Which checks a device gets."""

import pytest

from pattress.model.plan import Point
from pattress.model.rules import Applies, Rule
from pattress.policy.compiled import CompiledPolicy
from unit.policy.examples import KITCHEN, NETWORKS, TWIN, need, policy, rule


def names(rules: list[Rule], point: Point | None = KITCHEN) -> list[str]:
    return [check.setting for check in CompiledPolicy(policy(*rules), NETWORKS).checks(TWIN, point)]


def test_a_channel_rule_becomes_one_check_for_each_channel_of_the_kind() -> None:
    assert names([rule("r", need("output.*.over_temperature.enabled"))]) == [
        "output.1.over_temperature.enabled",
        "output.2.over_temperature.enabled",
    ]


def test_a_rule_on_channels_that_the_kind_has_not_makes_no_check() -> None:
    assert names([rule("r", need("dimmer.*.edge", "equal", "leading"))]) == []


@pytest.mark.parametrize("setting", ["time.server", "time.zone", "access.tls"])
def test_what_a_kind_lacks_by_construction_is_not_asked_for(setting: str) -> None:
    assert names([rule("r", need(setting, "present"))]) == []


def test_what_a_kind_does_not_report_is_asked_for_all_the_same() -> None:
    assert names([rule("r", need("access.password_set"))]) == ["access.password_set"]


@pytest.mark.parametrize(
    ("applies", "expected"),
    [
        (Applies(), True),
        (Applies(kinds=("twin",)), True),
        (Applies(kinds=("other",)), False),
        (Applies(classes=("dual-relay", "shutter")), True),
        (Applies(classes=("dimmer",)), False),
        (Applies(makers=("Maker",)), True),
        (Applies(makers=("Else",)), False),
        (Applies(rooms=("Kitchen",)), True),
        (Applies(rooms=("Cellar",)), False),
        (Applies(has=("output", "input")), True),
        (Applies(has=("output", "meter")), False),
        (Applies(has=("cloud",)), True),
        (Applies(kinds=("twin",), rooms=("Cellar",)), False),
    ],
)
def test_a_rule_applies_where_all_of_its_conditions_hold(applies: Applies, expected: bool) -> None:
    assert bool(names([rule("r", need("cloud.enabled"), applies=applies)])) is expected


def test_a_planned_requirement_takes_its_operand_from_the_point() -> None:
    compiled = CompiledPolicy(policy(rule("r", need("output.*.at_power_up", is_planned=True))), NETWORKS)

    first, second = compiled.checks(TWIN, KITCHEN)

    assert (first.expected, second.expected) == ('"off", as planned', '"on", as planned')


def test_where_the_plan_is_silent_the_check_says_so() -> None:
    compiled = CompiledPolicy(policy(rule("r", need("input.1.action", is_planned=True))), NETWORKS)

    [check] = compiled.checks(TWIN, KITCHEN)

    assert check.test is None
    assert check.gap == "the plan of kitchen-lamps does not say it"


def test_a_rule_may_let_the_plan_be_silent() -> None:
    assert names([rule("r", need("input.1.action", is_planned=True, unplanned="skip"))]) == []


def test_a_device_without_a_point_gets_no_planned_check() -> None:
    rules = [rule("r", need("cloud.enabled"), need("firmware.version", "version_at_least", is_planned=True))]

    assert names(rules, point=None) == ["cloud.enabled"]


def test_checks_come_in_the_order_of_the_policy() -> None:
    rules = [
        rule("a", need("output.1.at_power_up", is_planned=True)),
        rule("b", need("cloud.enabled")),
        rule("c", need("firmware.version", "version_at_least", is_planned=True)),
    ]

    assert names(rules) == ["output.1.at_power_up", "cloud.enabled", "firmware.version"]
