"""Which checks a device gets."""

from dataclasses import replace

import pytest

from pattress.model.plan import Point
from pattress.model.profile import DataSheet
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


RATED = need("output.*.over_current.limit_a", "at_most", rated="rated_current_a")


def test_a_rated_requirement_takes_its_operand_from_the_data_sheet_of_the_kind() -> None:
    compiled = CompiledPolicy(policy(rule("r", RATED)), NETWORKS)
    kind = replace(TWIN, data_sheet=DataSheet(rated_current_a=10))

    first, second = compiled.checks(kind, KITCHEN)

    assert (first.setting, second.setting) == ("output.1.over_current.limit_a", "output.2.over_current.limit_a")
    assert first.expected == "at most 10 A, by its data sheet"
    assert first.test is not None
    assert (first.test(10), first.test(10.5)) == (True, False)


def test_a_range_of_the_data_sheet_bounds_a_value_on_both_sides() -> None:
    supply = need("meter.*.voltage_v", "between", rated="supply_ac_v")
    kind = replace(TWIN, channels={"meter": 1}, data_sheet=DataSheet(supply_ac_v=(110, 240)))

    [check] = CompiledPolicy(policy(rule("r", supply)), NETWORKS).checks(kind, KITCHEN)

    assert check.expected == "from 110 to 240 V, by its data sheet"
    assert check.test is not None
    assert [check.test(volts) for volts in (109, 110, 240, 241)] == [False, True, True, False]


def test_where_the_data_sheet_is_silent_the_check_says_so() -> None:
    [check, _] = CompiledPolicy(policy(rule("r", RATED)), NETWORKS).checks(TWIN, None)

    assert check.test is None
    assert check.gap == "the data sheet of twin does not say rated_current_a"


def test_a_rule_may_let_the_data_sheet_be_silent() -> None:
    assert names([rule("r", replace(RATED, unrated="skip"))]) == []


def test_a_planned_value_may_be_met_nearly() -> None:
    near = need("meter.1.voltage_v", "near", is_planned=True, within_pct=10.0)
    kind = replace(TWIN, channels={"meter": 1})
    point = replace(KITCHEN, settings={"meter.1.voltage_v": 120})

    [check] = CompiledPolicy(policy(rule("r", near)), NETWORKS).checks(kind, point)

    assert check.expected == "within 10 % of 120 V, as planned"
    assert check.test is not None
    assert [check.test(volts) for volts in (108, 132, 230)] == [True, True, False]


@pytest.mark.parametrize("lacking", ["output.*.off_after_s", "output.2.off_after_s"])
def test_what_is_lacking_on_all_channels_or_on_one_is_not_asked_for_there(lacking: str) -> None:
    kind = replace(TWIN, lacks=(lacking,))

    checks = CompiledPolicy(policy(rule("r", need("output.*.off_after_s"))), NETWORKS).checks(kind, KITCHEN)

    expected = [] if "*" in lacking else ["output.1.off_after_s"]
    assert [check.setting for check in checks] == expected
