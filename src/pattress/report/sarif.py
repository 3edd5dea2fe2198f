"""The audit as SARIF 2.1.0 (OASIS), for tools that gather findings of many kinds of checks.

A broken finding has the kind `fail` and a level by its severity; one that could not be checked has the kind `open`, for
which the standard (section 3.27.10) knows the level `none` only, so the severity also stands among its properties. What
is met is not listed. A waiver is an accepted suppression. A device or point is a logical location.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Literal

from pattress import __version__
from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.rules import Rule, Severity
from pattress.policy.builtin import AS_SIGNED_OFF
from pattress.report.changes import FindingKey, key_of
from pattress.report.document import time_text
from pattress.report.places import room_of, rules_of
from pattress.report.text import Heading
from pattress.report.visible import visible

Document = dict[str, Any]
SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVELS: dict[Severity, Literal["error", "warning", "note"]] = {"danger": "error", "fault": "warning", "advice": "note"}


def audit_sarif(
    heading: Heading,
    findings: Sequence[Finding],
    *,
    ended_at: datetime,
    earlier: Mapping[FindingKey, Outcome] | None = None,
) -> str:
    """Return the findings of an audit as a SARIF log.

    `earlier` is what was not met in the run before; with it each result says how it stands to that run. Drift is always
    `updated`, as is a finding whose outcome changed; what is no longer found is listed once more, as `absent`.
    """
    rules = rules_of(findings)
    places = {rule.id: number for number, rule in enumerate(rules)}
    listed = [finding for finding in findings if finding.outcome != "met"]
    results = [_result(finding, places[finding.rule.id], earlier) for finding in listed]
    if earlier is not None:
        gone = sorted(set(earlier) - {key_of(finding) for finding in listed})
        met = {key_of(finding) for finding in findings} - {key_of(finding) for finding in listed}
        results += [_absent(key, earlier[key], key in met, places, rules) for key in gone]
    driver = {
        "name": "pattress",
        "version": __version__,
        "rules": [_rule(rule) for rule in rules],
    }
    run = {
        "tool": {"driver": driver},
        "automationDetails": {"id": f"{visible(heading.site)}/{heading.run}"},
        "invocations": [
            {
                "startTimeUtc": time_text(heading.started_at),
                "endTimeUtc": time_text(ended_at),
                "executionSuccessful": True,
            }
        ],
        "language": "en",
        "results": results,
        "properties": {"policy": visible(heading.policy), "policySha256": heading.policy_digest},
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2) + "\n"


def _rule(rule: Rule) -> Document:
    cites = f" [{'; '.join(rule.cites)}]" if rule.cites else ""
    return {
        "id": rule.id,
        "shortDescription": _message(rule.title),
        "fullDescription": _message(rule.because),
        "help": _message(f"{rule.because}{cites} To do: {rule.fix}"),
        "defaultConfiguration": {"level": _LEVELS[rule.severity]},
        "properties": {"severity": rule.severity, "cites": [visible(cite) for cite in rule.cites]},
    }


def _result(finding: Finding, rule_index: int, earlier: Mapping[FindingKey, Outcome] | None) -> Document:
    rule, key = finding.rule, key_of(finding)
    is_open = finding.outcome == "unverified"
    return {
        "ruleId": rule.id,
        "ruleIndex": rule_index,
        "kind": "open" if is_open else "fail",
        "level": "none" if is_open else _LEVELS[rule.severity],
        "message": _message(finding.sentence),
        "locations": [{"logicalLocations": [_location(finding.subject)]}],
        "partialFingerprints": {"finding/1": _fingerprint(key)},
        # All results of a run have suppressions or none has (section 3.27.23); an empty list says: not waived.
        "suppressions": [_suppression(finding)] if finding.outcome == "waived" else [],
        **({} if earlier is None else {"baselineState": _state(finding, earlier.get(key))}),
        "properties": {"outcome": finding.outcome, "severity": rule.severity},
    }


def _state(finding: Finding, before: Outcome | None) -> Literal["new", "unchanged", "updated"]:
    if finding.rule.id == AS_SIGNED_OFF.id and finding.outcome == "broken":
        return "updated"
    if before is None:
        return "new"
    return "unchanged" if before == finding.outcome else "updated"


def _absent(
    key: FindingKey, outcome: Outcome, is_met: bool, places: Mapping[str, int], rules: Sequence[Rule]
) -> Document:
    place, rule_id, setting, expected = key
    index = places.get(rule_id)
    what = f"{setting or rule_id} must be {expected}"
    is_open = outcome == "unverified"
    level = "none" if is_open else "warning" if index is None else _LEVELS[rules[index].severity]
    return {
        "ruleId": rule_id,
        **({} if index is None else {"ruleIndex": index}),
        "kind": "open" if is_open else "fail",
        "level": level,
        "message": _message(f"{what}: it is so now." if is_met else f"{what}: this is not asked any more."),
        "locations": [{"logicalLocations": [{"name": visible(place), "kind": "resource"}]}] if place else [],
        "partialFingerprints": {"finding/1": _fingerprint(key)},
        "suppressions": [],
        "baselineState": "absent",
        "properties": {"outcome": "met" if is_met else "not asked"},
    }


def _location(subject: Subject) -> Document:
    names = (room_of(subject), subject.title)
    return {
        "name": visible(subject.title),
        "fullyQualifiedName": "/".join(visible(name).replace("/", "_") for name in names),
        "kind": "resource",
        "properties": {
            name: visible(value)
            for name, value in (
                ("room", subject.room),
                ("point", subject.point),
                ("device", subject.device),
                ("kind", subject.kind),
            )
            if value is not None
        },
    }


def _suppression(finding: Finding) -> Document:
    waiver = finding.waiver
    if waiver is None:
        return {"kind": "external", "status": "accepted"}
    safe = f" Safe because: {waiver.safe_because}" if waiver.safe_because else ""
    words = f"{waiver.reason} ({waiver.who}, until {waiver.until.isoformat()}){safe}"
    return {"kind": "external", "status": "accepted", "justification": visible(words)}


def _fingerprint(key: FindingKey) -> str:
    return hashlib.sha256(json.dumps(key).encode()).hexdigest()


def _message(text: str) -> Document:
    """Return a plain text message. Braces and links mean something there (sections 3.11.5, 3.11.6); ours do not."""
    return {"text": visible(text).replace("{", "{{").replace("}", "}}").replace("](", "] (")}
