import pytest

from pattress.lab.expected import Expected, checks_of, expected_findings, policy_of_the_house
from pattress.lab.faults import ALL_FAULTS, DEMO_FAULTS, FAULTS
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.run import EmulatedHouse
from pattress.model.vocabulary import ValueMismatchError, checked_value, definition_of
from pattress.policy.builtin import BUILTIN_RULES
from unit.lab.by_profile import profile_of, read_all

MODULES = {
    module.title: module
    for module in larkspur_mill(Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883)))
}
IN_ITS_ANSWERS = [fault.name for fault in ALL_FAULTS if fault.twist.truth]


def test_every_fault_has_a_name_of_its_own_and_a_point_of_the_plan() -> None:
    assert len(FAULTS) == len(ALL_FAULTS)
    assert {fault.point for fault in ALL_FAULTS} - {None} <= set(MODULES)


def test_every_rule_of_the_policy_is_broken_by_some_fault() -> None:
    broken = {rule for fault in ALL_FAULTS for rule, _, outcome in fault.found if outcome in ("broken", "waived")}

    assert {rule.id for rule in policy_of_the_house().rules} <= broken


def test_faults_name_rules_that_there_are_and_settings_that_these_look_at() -> None:
    built_in = {rule.id for rule in BUILTIN_RULES}

    for fault in ALL_FAULTS:
        for rule, setting, _ in fault.found:
            if rule in built_in:
                assert setting is None or setting in MODULES[fault.point or ""].truth, fault.name
            else:
                assert setting is not None
                assert (rule, setting) in checks_of(MODULES[fault.point or ""]), fault.name


def test_the_faults_of_the_demo_stand_at_points_of_their_own() -> None:
    points = [FAULTS[name].point for name in DEMO_FAULTS]

    assert len(set(points)) == len(points) == 11


def test_a_fault_that_changes_a_value_changes_it_to_something_else() -> None:
    for name in IN_ITS_ANSWERS:
        fault = FAULTS[name]
        before = MODULES[fault.point or ""].truth
        assert all(before[setting] != value for setting, value in fault.twist.truth.items()), name


def test_misfits_are_no_legal_values_and_all_other_twists_are() -> None:
    for fault in ALL_FAULTS:
        for setting, value in fault.twist.truth.items():
            definition = definition_of(setting)
            assert definition is not None
            if setting in fault.misfits:
                with pytest.raises(ValueMismatchError):
                    checked_value(definition, value)
            else:
                assert checked_value(definition, value) == value


def test_a_module_that_says_nothing_leaves_every_check_of_it_unverified() -> None:
    expected = expected_findings([FAULTS["never-answers"]], MODULES, "somebody")

    checks = {
        Expected("gate-release", rule, setting, "unverified") for rule, setting in checks_of(MODULES["gate-release"])
    }
    assert expected == checks | {Expected("gate-release", "device-answers", None, "unverified")}
    assert len(checks) == 30


def test_what_is_wrong_at_a_silent_module_cannot_be_seen() -> None:
    both = [FAULTS["absent"], FAULTS["broker-off"]]

    expected = expected_findings(both, MODULES, "somebody")

    assert expected == expected_findings([FAULTS["absent"]], MODULES, "somebody")


def test_rubbish_in_one_document_leaves_the_settings_of_that_one_unverified() -> None:
    expected = expected_findings([FAULTS["rubbish"]], MODULES, "somebody")

    profile = profile_of("brackenvolt-hoist")
    in_ways = {name.replace("*", "1") for name, source in profile["settings"].items() if source.get("in") == "ways"}
    first_channel = {one.setting for one in expected if one.setting and ".2." not in one.setting}
    asked_for = {setting for _, setting in checks_of(MODULES["wheel-room-blind"]) if ".2." not in setting}
    assert first_channel == in_ways & asked_for
    assert {one.outcome for one in expected} == {"unverified"}


async def test_each_fault_in_an_answer_changes_what_it_says_and_nothing_else(house: EmulatedHouse) -> None:
    for name in IN_ITS_ANSWERS:
        fault = FAULTS[name]
        module = house.modules[fault.point or ""]
        before = await read_all(house, module)

        await house.switch(name, on=True)
        during = await read_all(house, module)
        await house.switch(name, on=False)
        after = await read_all(house, module)

        changed = {setting: value for setting, value in during.items() if value != before[setting]}
        assert changed == dict(fault.twist.truth), name
        assert after == before, name


async def test_no_fault_touches_another_point(house: EmulatedHouse) -> None:
    before = {point: house.state(point) for point in house.modules}

    for fault in ALL_FAULTS:
        await house.switch(fault.name, on=True)
        changed = {point for point in house.modules if house.state(point) != before[point]}
        await house.switch(fault.name, on=False)
        assert changed == ({fault.point} if fault.joins is None else set()), fault.name
