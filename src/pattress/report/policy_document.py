"""Policies as JSON documents: `pattress.policy-show/1`, `pattress.policy-coverage/1` and `pattress.policy-try/1`."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from pattress.model.finding import Finding, Outcome
from pattress.model.rules import Applies, Beyond, Override, Policy, Requirement, Rule
from pattress.model.site import Networks
from pattress.policy.coverage import Coverage
from pattress.policy.words import applies_words, requirement_words
from pattress.report.document import Document, finding_entry, time_text
from pattress.report.policy import Shown


def policy_document(shown: Shown) -> Document:
    """Return rules in words and in parts as `pattress.policy-show/1`."""
    return {
        "schema": "pattress.policy-show/1",
        "policy": _policy(shown.policy),
        "rules": [_rule(rule, shown) for rule in shown.rules],
        "dropped": [_dropped(one, shown) for one in shown.dropped],
        "beyond": _beyond(shown.policy.beyond),
    }


def coverage_document(site: str, coverage: Coverage) -> Document:
    """Return how much of a policy can be judged as `pattress.policy-coverage/1`."""
    return {
        "schema": "pattress.policy-coverage/1",
        "site": site,
        "policy": _policy(coverage.policy),
        "places": [{"point": place.point, "kind": place.kind} for place in coverage.places],
        "rules": [
            {
                "rule": one.rule.id,
                "severity": one.rule.severity,
                "judged_at": [{"point": place.point, "kind": place.kind} for place in one.places],
                "gaps": [
                    {
                        "point": gap.place.point,
                        "kind": gap.place.kind,
                        "setting": gap.setting,
                        "reason": gap.reason,
                    }
                    for gap in one.gaps
                ],
                "applies_to_nothing": one.is_idle,
            }
            for one in coverage.rules
        ],
        "unreported": [
            {"setting": one.setting, "rules": list(one.rules), "nearest": list(one.nearest)}
            for one in coverage.unreported
        ],
        "provisions": [
            {"provision": provision, "rules": list(rules)} for provision, rules in coverage.provisions.items()
        ],
        "beyond": _beyond(coverage.beyond),
    }


def trial_document(
    site: str,
    policy: Policy,
    *,
    counts: Mapping[Outcome, int],
    findings: Iterable[Finding],
    read_at: Mapping[str, datetime | None],
) -> Document:
    """Return what a policy finds in the last known settings as `pattress.policy-try/1`."""
    return {
        "schema": "pattress.policy-try/1",
        "site": site,
        "policy": _policy(policy),
        "readings": [
            {"point": point, "read_at": None if moment is None else time_text(moment)}
            for point, moment in read_at.items()
        ],
        "counts": dict(counts),
        "findings": [finding_entry(finding) for finding in findings],
    }


def _policy(policy: Policy) -> Document:
    return {"id": policy.id, "title": policy.title, "sha256": policy.digest, "files": list(policy.files)}


def _rule(rule: Rule, shown: Shown) -> Document:
    return {
        "id": rule.id,
        "title": rule.title,
        "severity": rule.severity,
        "is_built_in": rule.file is None,
        "file": rule.file,
        "applies": _applies(rule.applies),
        "requirements": [_requirement(one, shown.networks) for one in rule.requirements],
        "because": rule.because,
        "fix": rule.fix,
        "cites": list(rule.cites),
        "overridden": [
            {"file": one.file, "fields": list(one.fields), "reason": one.reason}
            for one in shown.policy.overridden
            if one.rule == rule.id and one.dropped is None
        ],
    }


def _dropped(one: Override, shown: Shown) -> Document:
    rule = None if one.dropped is None else _rule(one.dropped, shown)
    return {"rule": rule, "file": one.file, "reason": one.reason}


def _applies(applies: Applies) -> Document:
    return {
        "kinds": list(applies.kinds),
        "classes": list(applies.classes),
        "makers": list(applies.makers),
        "rooms": list(applies.rooms),
        "has": list(applies.has),
        "words": applies_words(applies),
    }


def _requirement(one: Requirement, networks: Networks | None) -> Document:
    """The operand is None where it comes from the plan or from the field of the data sheet."""
    is_own = not one.is_planned and one.rated is None
    operand = list(one.operand) if isinstance(one.operand, tuple) else one.operand
    return {
        "setting": one.setting,
        "comparison": one.comparison,
        "operand_from": "plan" if one.is_planned else "data sheet" if one.rated is not None else "rule",
        "operand": operand if is_own else None,
        "field": one.rated,
        "where_silent": one.unplanned if one.is_planned else one.unrated if one.rated is not None else None,
        "within_pct": one.within_pct,
        "words": requirement_words(one, networks),
    }


def _beyond(notes: Iterable[Beyond]) -> list[Document]:
    return [{"provision": one.provision, "why": one.why} for one in notes]
