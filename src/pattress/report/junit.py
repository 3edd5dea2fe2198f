"""The audit as JUnit XML, so that a nightly job turns red by itself: a suite for each place, a case for each check.

A broken check is a `failure`. One that could not be made is an `error`: a job in which something could not be checked
must not be green. A waived one is `skipped`, with the reason. The element is called `error`, as every reader has it.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from xml.etree import ElementTree as Xml

from pattress.model.finding import Finding
from pattress.report.places import place_key, room_of
from pattress.report.text import Heading
from pattress.report.visible import visible


def audit_junit(heading: Heading, findings: Sequence[Finding]) -> str:
    """Return the findings of an audit as a JUnit XML document."""
    counts = Counter(finding.outcome for finding in findings)
    root = Xml.Element(
        "testsuites",
        name=visible(heading.site),
        tests=str(len(findings)),
        failures=str(counts["broken"]),
        errors=str(counts["unverified"]),
        time=f"{heading.duration_s:.3f}",
    )
    ordered = sorted(findings, key=_place)
    root.extend(_suite(heading, list(together)) for _, together in groupby(ordered, key=_place))
    Xml.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{Xml.tostring(root, encoding="unicode")}\n'


def _place(finding: Finding) -> tuple[str, tuple[str, str]]:
    return room_of(finding.subject), place_key(finding.subject)


def _suite(heading: Heading, findings: Sequence[Finding]) -> Xml.Element:
    counts = Counter(finding.outcome for finding in findings)
    subject = findings[0].subject
    suite = Xml.Element(
        "testsuite",
        name=visible(subject.title),
        tests=str(len(findings)),
        failures=str(counts["broken"]),
        errors=str(counts["unverified"]),
        skipped=str(counts["waived"]),
        timestamp=heading.started_at.isoformat(timespec="seconds"),
    )
    facts = {
        "site": heading.site,
        "run": str(heading.run),
        "policy": heading.policy,
        "policy_sha256": heading.policy_digest,
        "room": subject.room,
        "device": subject.device,
        "kind": subject.kind,
    }
    properties = Xml.SubElement(suite, "properties")
    for name, value in facts.items():
        if value is not None:
            Xml.SubElement(properties, "property", name=name, value=visible(value))
    names = Counter[str]()
    for finding in findings:
        name = _name(finding)
        names[name] += 1
        suite.append(_case(finding, name if names[name] == 1 else f"{name} ({names[name]})"))
    return suite


def _name(finding: Finding) -> str:
    """Return a name that stays the same from night to night, so that a reader can follow one check."""
    return f"{finding.rule.id}: {finding.setting or finding.rule.title}"


def _case(finding: Finding, name: str) -> Xml.Element:
    subject, rule = finding.subject, finding.rule
    # Readers take the part before the last dot for a group and the rest for a member: here room and place.
    group = ".".join(part.replace(".", " ") for part in (room_of(subject), subject.title))
    case = Xml.Element("testcase", name=visible(name), classname=visible(group))
    if finding.outcome == "met":
        return case
    element = {"broken": "failure", "unverified": "error", "waived": "skipped"}[finding.outcome]
    outcome = Xml.SubElement(case, element, type=rule.severity, message=visible(finding.sentence))
    if finding.outcome != "waived":
        cites = f" [{'; '.join(rule.cites)}]" if rule.cites else ""
        outcome.text = visible(f"{rule.because}{cites} To do: {rule.fix}")
    return case
