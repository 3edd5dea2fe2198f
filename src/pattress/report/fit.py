"""Fitness for people and for machines: each planned module against its circuit, and the kinds that would suit a point.

What belongs here: text and documents. What does not: judging (`policy.fitness`).
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from pattress.circuit.working import LAST_WORD
from pattress.model.finding import OUTCOMES, Finding, Outcome
from pattress.model.plan import Point
from pattress.model.tables import Tables
from pattress.policy.fit_case import Fit
from pattress.policy.fit_which import Candidate
from pattress.policy.fitness import PointFitness
from pattress.report.circuit import line_entry, tables_entry
from pattress.report.text import Style, advice_lines, counted, summary_line
from pattress.report.visible import visible

Document = dict[str, Any]
NOTHING_PLANNED = "nothing is planned of what it is wired into: see [point.circuit] of points.toml"
_SAID: dict[Outcome, str] = {"broken": "broken", "unverified": "unverified", "waived": "accepted", "met": "met"}


def fit_text(site: str, tables: Tables, judged: Sequence[PointFitness], style: Style, *, is_brief: bool = False) -> str:
    """Return each point with its questions, their numbers, and what to do about what does not suit.

    A brief text has, of what is met, only what is about a channel, and counts the rest.
    """
    lines = [style.strong(f"{visible(site)}: {counted(len(judged), 'point')} judged by {_family(tables)}")]
    for room, points in groupby(sorted(judged, key=lambda one: one.point.room), key=lambda one: one.point.room):
        lines += ["", f"  {visible(room)}"]
        for one in points:
            lines += _point_lines(one, style, is_brief=is_brief)
    findings = [finding for one in judged for finding in one.findings]
    broken = [finding for finding in findings if finding.outcome == "broken"]
    if broken:
        lines += ["", style.strong("Why, and what to do"), *advice_lines(broken, style)]
    lines += ["", *style.wrapped(LAST_WORD)]
    unplanned = sum(not one.findings for one in judged)
    unsaid = f"; {counted(unplanned, 'point')} without a circuit" if unplanned else ""
    lines += ["", style.strong(f"{summary_line(findings)}{unsaid}.")]
    return "\n".join(lines) + "\n"


def which_text(
    site: str, tables: Tables, point: Point, candidates: Sequence[Candidate], common: Sequence[Fit], style: Style
) -> str:
    """Return the kinds for a point, the best first, with what speaks against each of the others.

    `common` are the questions whose outcome no kind changes; those that are not met are told at the end.
    """
    lines = [style.strong(f"{visible(site)}: kinds for {visible(point.name)}, judged by {_family(tables)}")]
    titles: dict[Outcome, str] = {"met": "SUIT", "unverified": "COULD NOT BE CHECKED", "broken": "DO NOT SUIT"}
    for outcome, title in titles.items():
        ones = [one for one in candidates if one.outcome == outcome]
        if ones:
            lines += ["", style.strong(f"{title}: {len(ones)}", outcome)]
        for one in ones:
            planned = ", as planned" if one.profile.id == point.kind else ""
            lines.append(visible(f"  {one.profile.id} ({one.profile.maker} {one.profile.model}{planned})"))
            for reason in reasons_of(one):
                lines += style.wrapped(reason, indent=4, hanging=6)
    open_ones = [fit for fit in common if fit.outcome != "met"]
    if open_ones:
        lines += ["", style.strong("WHATEVER THE KIND", "broken")]
        for fit in open_ones:
            lines += style.wrapped(f"{fit.outcome}: {fit.rule.title}: {fit.sentence}", indent=2, hanging=4)
    lines += ["", *style.wrapped(LAST_WORD)]
    return "\n".join(lines) + "\n"


def reasons_of(candidate: Candidate) -> Iterator[str]:
    """Yield what speaks against a kind, or what is not known; of one that suits, what its rating leaves."""
    yield from candidate.lacks
    for fit in candidate.fits_of("broken"):
        yield f"{fit.rule.severity}: {fit.rule.title}: {fit.sentence}"
    for fit in candidate.fits_of("unverified"):
        yield f"unverified: {fit.rule.title}: {fit.sentence}"
    if candidate.outcome == "met":
        yield from (fit.sentence for fit in candidate.fits if fit.channel is not None and fit.answer is not None)


def fit_document(site: str, tables: Tables, judged: Sequence[PointFitness]) -> Document:
    """Return fitness as `pattress.fit/1`, every question with its working."""
    findings = [finding for one in judged for finding in one.findings]
    return {
        "schema": "pattress.fit/1",
        "site": site,
        "tables": tables_entry(tables),
        "counts": {outcome: sum(one.outcome == outcome for one in findings) for outcome in OUTCOMES},
        "points": [
            {
                "point": one.point.name,
                "room": one.point.room,
                "kind": one.point.kind,
                "outcome": one.outcome,
                "is_planned": bool(one.findings),
                "questions": [
                    {
                        **question_entry(fit),
                        "outcome": finding.outcome,
                        "waiver": _waiver(finding),
                    }
                    for fit, finding in zip(one.fits, one.findings, strict=True)
                ],
            }
            for one in judged
        ],
        "last_word": LAST_WORD,
    }


def which_document(
    site: str, tables: Tables, point: Point, candidates: Iterable[Candidate], common: Iterable[Fit]
) -> Document:
    """Return the kinds for a point as `pattress.fit-which/1`, the best first."""
    return {
        "schema": "pattress.fit-which/1",
        "site": site,
        "tables": tables_entry(tables),
        "point": point.name,
        "kinds": [
            {
                "kind": one.profile.id,
                "maker": one.profile.maker,
                "model": one.profile.model,
                "class": one.profile.module_class,
                "is_planned": one.profile.id == point.kind,
                "outcome": one.outcome,
                "lacks": list(one.lacks),
                "questions": [{**question_entry(fit), "outcome": fit.outcome} for fit in one.fits],
            }
            for one in candidates
        ],
        "whatever_kind": [{**question_entry(fit), "outcome": fit.outcome} for fit in common],
        "last_word": LAST_WORD,
    }


def question_entry(fit: Fit) -> Document:
    """Return one question without its outcome: its rule, its sentence, and the working line by line."""
    rule, answer = fit.rule, fit.answer
    return {
        "rule": rule.id,
        "title": rule.title,
        "severity": rule.severity,
        "channel": fit.channel,
        "sentence": fit.sentence,
        "values": dict(answer.values) if answer is not None else {},
        "working": [line_entry(line) for line in answer.lines] if answer is not None else [],
        "cautions": list(fit.cautions),
        "because": rule.because,
        "fix": rule.fix,
        "cites": list(rule.cites),
    }


def _point_lines(one: PointFitness, style: Style, *, is_brief: bool) -> Iterator[str]:
    point = one.point
    yield style.strong(visible(f"    {point.name} ({point.kind}): {_verdict(one)}"), one.outcome)
    pairs = list(zip(one.fits, one.findings, strict=True))
    left_out = 0
    for outcome in OUTCOMES:
        for fit, finding in pairs:
            if finding.outcome != outcome:
                continue
            if is_brief and outcome == "met" and fit.channel is None:
                left_out += 1
            else:
                yield from _question_lines(fit, finding, style)
    if left_out:
        yield f"      met: {left_out} more, which `pattress fit {visible(point.name)}` shows"


def _verdict(one: PointFitness) -> str:
    if not one.findings:
        return NOTHING_PLANNED
    broken = sum(finding.outcome == "broken" for finding in one.findings)
    unverified = sum(finding.outcome == "unverified" for finding in one.findings)
    if broken:
        return f"does not suit its circuit, {counted(broken, 'reason')}"
    return f"{counted(unverified, 'question')} could not be checked" if unverified else "suits its circuit"


def _question_lines(fit: Fit, finding: Finding, style: Style) -> Iterator[str]:
    grave = f" ({finding.rule.severity})" if finding.outcome == "broken" else ""
    yield from style.wrapped(f"{_SAID[finding.outcome]}{grave}: {finding.sentence}", indent=6, hanging=8)
    if finding.outcome == "broken":
        for caution in fit.cautions:
            yield from style.wrapped(caution, indent=8)


def _family(tables: Tables) -> str:
    return visible(f"{tables.title} ({tables.edition})")


def _waiver(finding: Finding) -> Document | None:
    waiver = finding.waiver
    if waiver is None:
        return None
    return {"reason": waiver.reason, "who": waiver.who, "until": waiver.until.isoformat()}
