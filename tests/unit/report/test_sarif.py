"""The audit as SARIF."""

import json
from collections.abc import Mapping
from typing import Any

import pytest

from pattress.model.finding import Finding, Outcome
from pattress.model.kept import KeptFinding
from pattress.report.changes import FindingKey, key_of, key_of_kept
from pattress.report.sarif import audit_sarif
from unit.report.examples import (
    ATTIC,
    BROKEN,
    DRIFT,
    ENDED_AT,
    FINDINGS,
    HEADING,
    HEAT,
    MET,
    STARTED_AT,
    UNVERIFIED,
    WAIVED,
)


def run(*findings: Finding, earlier: Mapping[FindingKey, Outcome] | None = None) -> Any:
    document = json.loads(audit_sarif(HEADING, findings, ended_at=ENDED_AT, earlier=earlier))
    [run] = document["runs"]
    return run


def only(finding: Finding, earlier: Mapping[FindingKey, Outcome] | None = None) -> Any:
    [result] = run(finding, earlier=earlier)["results"]
    return result


@pytest.mark.parametrize(
    ("finding", "kind", "level"),
    [(BROKEN, "fail", "error"), (DRIFT, "fail", "warning"), (WAIVED, "fail", "note"), (UNVERIFIED, "open", "none")],
)
def test_outcome_and_severity_become_kind_and_level(finding: Finding, kind: str, level: str) -> None:
    assert (only(finding)["kind"], only(finding)["level"]) == (kind, level)
    assert only(finding)["properties"] == {"outcome": finding.outcome, "severity": finding.rule.severity}


def test_what_is_met_is_no_result_but_its_rule_is_listed() -> None:
    listed = run(*FINDINGS)

    assert len(listed["results"]) == 3
    rules = listed["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == ["over-temperature", "answers", "signal"]
    assert all(rules[one["ruleIndex"]]["id"] == one["ruleId"] for one in listed["results"])
    assert run(MET)["results"] == []


def test_a_rule_explains_itself() -> None:
    rule = run(BROKEN)["tool"]["driver"]["rules"][0]

    assert rule["shortDescription"]["text"] == HEAT.title
    assert rule["fullDescription"]["text"] == HEAT.because
    assert rule["help"]["text"] == f"{HEAT.because} [IEC 60669-2-1] To do: Turn it on."
    assert rule["properties"] == {"severity": "danger", "cites": ["IEC 60669-2-1"]}


def test_a_waiver_is_an_accepted_suppression_and_everything_else_has_none() -> None:
    assert only(WAIVED)["suppressions"] == [
        {
            "kind": "external",
            "status": "accepted",
            "justification": "a thick wall (A. Keeper, until 2027-01-01)",
        }
    ]
    assert only(BROKEN)["suppressions"] == []


def test_a_point_is_a_logical_location() -> None:
    [location] = only(BROKEN)["locations"]

    assert location["logicalLocations"] == [
        {
            "name": "hall-lights",
            "fullyQualifiedName": "Hall/hall-lights",
            "kind": "resource",
            "properties": {
                "room": "Hall",
                "point": "hall-lights",
                "device": "mac:02:00:5e:00:53:01",
                "kind": "k",
            },
        }
    ]


def test_without_an_earlier_run_nothing_says_how_it_stands_to_one() -> None:
    assert all("baselineState" not in one for one in run(*FINDINGS)["results"])


@pytest.mark.parametrize(
    ("earlier", "state"),
    [({}, "new"), ({key_of(BROKEN): "broken"}, "unchanged"), ({key_of(BROKEN): "unverified"}, "updated")],
)
def test_a_finding_says_how_it_stands_to_the_earlier_run(earlier: dict[FindingKey, Outcome], state: str) -> None:
    assert only(BROKEN, earlier)["baselineState"] == state


@pytest.mark.parametrize("earlier", [{}, {key_of(DRIFT): "broken"}])
def test_drift_is_updated(earlier: dict[FindingKey, Outcome]) -> None:
    assert only(DRIFT, earlier)["baselineState"] == "updated"


def test_what_is_met_again_is_absent() -> None:
    [gone] = run(MET, earlier={key_of(MET): "broken"})["results"]

    assert gone["baselineState"] == "absent"
    assert gone["ruleId"] == "over-temperature"
    assert gone["message"]["text"] == "output.1.over_temperature.enabled must be true: it is so now."
    assert gone["partialFingerprints"]["finding/1"]


def test_what_is_not_asked_any_more_is_absent_and_not_called_met() -> None:
    [gone] = run(earlier={("attic-fan", "gone-rule", "", "x"): "unverified"})["results"]

    assert (gone["kind"], gone["level"]) == ("open", "none")
    assert gone["message"]["text"] == "gone-rule must be x: this is not asked any more."
    assert gone["properties"] == {"outcome": "not asked"}


def test_what_was_broken_and_cannot_be_checked_now_is_not_absent() -> None:
    unread = Finding(HEAT, ATTIC, MET.setting, "unverified", "true", remark="no answer")

    assert only(unread, {key_of(MET): "broken"})["baselineState"] == "updated"


def test_a_finding_that_was_kept_has_the_key_of_the_one_that_was_found() -> None:
    kept = KeptFinding(
        device="mac:02:00:5e:00:53:01",
        point="hall-lights",
        rule="over-temperature",
        setting="output.1.over_temperature.enabled",
        outcome="broken",
        severity="danger",
        expected="true",
        found="false",
        reason=None,
        opened_at=STARTED_AT,
        closed_at=None,
    )

    assert key_of_kept(kept) == key_of(BROKEN)


def test_the_fingerprint_is_that_of_the_check_whatever_was_found() -> None:
    now = Finding(HEAT, BROKEN.subject, BROKEN.setting, "unverified", "true", remark="no answer")

    assert only(now)["partialFingerprints"] == only(BROKEN)["partialFingerprints"]
    assert only(DRIFT)["partialFingerprints"] != only(BROKEN)["partialFingerprints"]


def test_braces_and_links_of_a_stranger_have_no_meaning_in_a_message() -> None:
    """SARIF 2.1.0 sections 3.11.5 (placeholders) and 3.11.6 (embedded links)."""
    text = only(Finding(HEAT, ATTIC, "net.ssid", "broken", "x", "{0} [here](https://outside.example)"))["message"][
        "text"
    ]

    assert "{{0}} [here] (https://outside.example)" in text
