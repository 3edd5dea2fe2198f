"""Evaluation of the checks of one device on one reading."""

from collections.abc import Sequence
from typing import assert_never

from pattress.model.finding import Finding, Subject
from pattress.model.reading import Reading, Snapshot, Unreadable
from pattress.policy.compiled import Check


def evaluate(checks: Sequence[Check], subject: Subject, reading: Reading) -> list[Finding]:
    """Return one finding for each check, in the same order. What was not read is `unverified`, never `met`."""
    match reading:
        case Snapshot():
            return _judged(checks, subject, reading)
        case Unreadable(reason=reason):
            return unverified(checks, subject, reason)
        case _:
            assert_never(reading)


def unverified(checks: Sequence[Check], subject: Subject, reason: str) -> list[Finding]:
    """Return one `unverified` finding for each check, all for one reason."""
    return [
        Finding(check.rule, subject, check.setting, "unverified", check.expected, remark=reason) for check in checks
    ]


def _judged(checks: Sequence[Check], subject: Subject, snapshot: Snapshot) -> list[Finding]:
    values = snapshot.values
    findings = []
    for check in checks:
        reported = values.get(check.setting)
        if reported is None or check.test is None:
            findings.append(_missing(check, subject, snapshot))
            continue
        verdict = check.test(reported.value)
        if verdict is True:
            finding = Finding(check.rule, subject, check.setting, "met", check.expected, reported.value)
        elif verdict is False:
            finding = Finding(
                check.rule, subject, check.setting, "broken", check.expected, reported.value, None, reported.origin
            )
        else:
            finding = Finding(
                check.rule, subject, check.setting, "unverified", check.expected, reported.value, verdict,
                reported.origin,
            )  # fmt: skip
        findings.append(finding)
    return findings


def _missing(check: Check, subject: Subject, snapshot: Snapshot) -> Finding:
    error = next((error for error in snapshot.errors if error.subject == check.setting), None)
    if check.gap is not None:
        remark = check.gap
    elif error is not None:
        remark = error.reason
    elif check.wants_absence:
        return Finding(check.rule, subject, check.setting, "met", check.expected, remark="not there")
    else:
        remark = "the device does not report it"
    return Finding(check.rule, subject, check.setting, "unverified", check.expected, remark=remark)
