"""The audit as JUnit XML."""

from xml.etree import ElementTree as Xml

from pattress.model.finding import Finding
from unit.report.examples import BROKEN, HALL, HEAT, MET, SIGNAL, UNVERIFIED, WAIVED, result, whole


def root(*findings: Finding) -> Xml.Element:
    return Xml.fromstring(whole(result(findings), "junit"))


def outcome(finding: Finding) -> Xml.Element | None:
    case = root(finding).find("testsuite/testcase")
    assert case is not None
    return next(iter(case), None)


def test_a_place_is_a_suite_and_a_check_is_a_case() -> None:
    suites = root(BROKEN, UNVERIFIED, WAIVED, MET).findall("testsuite")

    assert [(suite.get("name"), len(suite.findall("testcase"))) for suite in suites] == [
        ("attic-fan", 2),
        ("hall-lights", 2),
    ]
    assert {key: suites[1].get(key) for key in ("tests", "failures", "errors", "skipped")} == {
        "tests": "2",
        "failures": "1",
        "errors": "0",
        "skipped": "1",
    }


def test_broken_is_a_failure_with_why_and_what_to_do() -> None:
    failure = outcome(BROKEN)

    assert failure is not None
    assert failure.tag == "failure"
    assert failure.attrib == {"type": "danger", "message": BROKEN.sentence}
    assert failure.text == f"{HEAT.because} [IEC 60669-2-1] To do: Turn it on."


def test_what_could_not_be_checked_is_an_error_so_that_a_job_does_not_turn_green() -> None:
    error = outcome(UNVERIFIED)

    assert error is not None
    assert (error.tag, error.get("message")) == ("error", UNVERIFIED.sentence)


def test_what_is_accepted_is_skipped_with_the_reason() -> None:
    skipped = outcome(WAIVED)

    assert skipped is not None
    assert skipped.tag == "skipped"
    assert "a thick wall" in (skipped.get("message") or "")


def test_what_is_met_is_a_case_and_no_more() -> None:
    assert outcome(MET) is None


def test_two_checks_of_one_name_are_told_apart() -> None:
    twice = [Finding(SIGNAL, HALL, "net.rssi_dbm", "met", expected, -60) for expected in ("more", "less")]

    names = [case.get("name") for case in root(*twice).iter("testcase")]

    assert names == ["signal: net.rssi_dbm", "signal: net.rssi_dbm (2)"]


def test_each_suite_says_which_run_by_which_policy() -> None:
    properties = {one.get("name"): one.get("value") for one in root(BROKEN).iter("property")}

    assert properties == {
        "site": "Larkspur Mill",
        "run": "7",
        "policy": "isolated-house",
        "policy_sha256": "0123456789abcdef" * 4,
        "room": "Hall",
        "device": "mac:02:00:5e:00:53:01",
        "kind": "k",
    }


def test_an_audit_without_findings_is_a_document_without_suites() -> None:
    assert root().attrib["tests"] == "0"
    assert list(root()) == []
