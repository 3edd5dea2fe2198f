"""Waivers: accepted exceptions, while they last."""

from datetime import date

import pytest

from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.plan import Plan, Point
from pattress.model.rules import Waiver
from pattress.policy.waive import waive
from unit.policy.examples import need, rule

TODAY = date(2026, 11, 25)
SIGNAL = rule("signal-strong", need("net.rssi_dbm", "at_least", -70))


def finding(outcome: Outcome = "broken", point: str = "cellar") -> Finding:
    subject = Subject(device="mac:1", device_title="Relay 1", point=point)
    return Finding(SIGNAL, subject, "net.rssi_dbm", outcome, "at least -70 dBm", -80)


def waiver(**more: object) -> Waiver:
    fields: dict[str, object] = {
        "rule": "signal-strong",
        "point": "cellar",
        "reason": "thick wall",
        "who": "A",
        "until": TODAY,
    }
    return Waiver(**{**fields, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize("outcome", ["broken", "unverified"])
def test_a_waiver_turns_what_is_not_met_into_waived_until_the_end_of_its_day(outcome: Outcome) -> None:
    waived = waive([finding(outcome)], [waiver()], today=TODAY, plan=Plan())[0]

    assert waived.outcome == "waived"
    assert waived.sentence == ("net.rssi_dbm is -80, not at least -70 dBm; accepted until 2026-11-25: thick wall.")


def test_a_met_finding_stays_met() -> None:
    assert waive([finding("met")], [waiver()], today=TODAY, plan=Plan())[0] == finding("met")


@pytest.mark.parametrize(
    "other",
    [
        waiver(until=date(2026, 11, 24)),
        waiver(rule="cloud-off"),
        waiver(point="attic"),
        waiver(point=None, device="mac:2"),
    ],
)
def test_a_waiver_that_is_over_or_for_something_else_changes_nothing(other: Waiver) -> None:
    assert waive([finding()], [other], today=TODAY, plan=Plan())[0] == finding()


@pytest.mark.parametrize("device", ["mac:1", "Relay 1"])
def test_a_waiver_may_name_a_device(device: str) -> None:
    assert waive([finding()], [waiver(point=None, device=device)], today=TODAY, plan=Plan())[0].outcome == "waived"


@pytest.mark.parametrize(
    ("given", "rule_id", "outcome", "remark"),
    [
        (waiver(), "waiver-used", "met", "the waiver of signal-strong at cellar by A is needed"),
        (
            waiver(until=date(2026, 11, 24)),
            "waiver-current",
            "broken",
            "the waiver of signal-strong at cellar by A ended on 2026-11-24",
        ),
        (
            waiver(rule="cloud-off"),
            "waiver-used",
            "broken",
            "the waiver of cloud-off at cellar by A accepts nothing that was found",
        ),
    ],
)
def test_a_waiver_is_itself_accounted_for(given: Waiver, rule_id: str, outcome: Outcome, remark: str) -> None:
    plan = Plan(points=(Point(name="cellar", room="Cellar", kind="k"),))

    about = waive([finding()], [given], today=TODAY, plan=plan)[-1]

    assert (about.rule.id, about.outcome, about.remark) == (rule_id, outcome, remark)
    assert (about.subject.point, about.subject.room) == ("cellar", "Cellar")
