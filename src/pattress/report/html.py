"""The audit as one page: a single file that loads nothing, runs nothing, and reads well on a phone and on paper."""

from collections.abc import Iterable, Sequence

from pattress import __version__
from pattress.model.device import Conflict
from pattress.model.finding import OUTCOMES, Finding, Outcome
from pattress.model.source import SourceReport
from pattress.report.html_sections import (
    broken_section,
    met_section,
    overridden_section,
    sources_section,
    unverified_section,
    waived_section,
)
from pattress.report.marks import OUTCOME_WORDS, mark, sheet
from pattress.report.markup import Content, Markup, breakable, lines, tag
from pattress.report.page import html_document, style_of
from pattress.report.text import Heading, counted

NO_SUBSTITUTE = (
    "This report is no substitute for the inspection that the code requires, and a clean one does not make a circuit "
    "safe to touch."
)


def audit_html(
    heading: Heading,
    findings: Sequence[Finding],
    *,
    sources: Sequence[SourceReport],
    conflicts: Iterable[Conflict],
) -> str:
    """Return the report of an audit as an HTML document."""
    of: dict[Outcome, list[Finding]] = {outcome: [] for outcome in OUTCOMES}
    for finding in findings:
        of[finding.outcome].append(finding)
    has_danger = any(finding.rule.severity == "danger" for finding in of["broken"])
    sections: list[Content] = [
        broken_section(of["broken"]),
        unverified_section(of["unverified"], has_caution=not has_danger),
        waived_section(of["waived"]),
        met_section(of["met"], len(findings)),
        sources_section(sources, conflicts),
        overridden_section(heading.overridden),
    ]
    return html_document(
        f"{heading.site}: {heading.name}",
        style_of("page.css"),
        sheet(),
        _header(heading, {outcome: len(of[outcome]) for outcome in OUTCOMES}),
        tag("main", lines(one for one in sections if one is not None)),
        _footer(heading),
    )


def _header(heading: Heading, counts: dict[Outcome, int]) -> Markup:
    started_at = heading.started_at
    when = tag("time", f"{started_at:%Y-%m-%d %H:%M %Z}".strip(), datetime=started_at.isoformat(timespec="seconds"))
    tallies = [tag("li", _tally(outcome, counts[outcome])) for outcome in OUTCOMES]
    return tag(
        "header",
        tag("h1", breakable(heading.site)),
        tag("p", f"{heading.name.capitalize()}, ", when, class_="when"),
        tag("nav", tag("ul", lines(tallies), class_="tallies"), aria_label="Outcomes"),
        tag("p", tag("strong", _verdict(counts)), class_="verdict"),
    )


def _tally(outcome: Outcome, count: int) -> Markup:
    contents = (mark(outcome), tag("span", str(count), class_="count"), tag("span", OUTCOME_WORDS[outcome]))
    if count == 0 and outcome != "met":  # no section to go to
        return tag("span", *contents, class_=f"tally {outcome} none")
    return tag("a", *contents, href=f"#{outcome}", class_=f"tally {outcome}")


def _verdict(counts: dict[Outcome, int]) -> str:
    if not any(counts.values()):
        return "Nothing was checked."
    if counts["broken"]:
        more = f", and {counted(counts['unverified'], 'check')} could not be made" if counts["unverified"] else ""
        return f"Not as intended: {counted(counts['broken'], 'check')} failed{more}."
    if counts["unverified"]:
        return f"Not known to be as intended: {counted(counts['unverified'], 'check')} could not be made."
    return "Everything that was checked is as intended, or accepted." if counts["waived"] else "All as intended."


def _footer(heading: Heading) -> Markup:
    facts = [
        ("Site", heading.site),
        ("Run", str(heading.run)),
        ("Began", heading.started_at.isoformat(timespec="seconds")),
        ("Took", f"{heading.duration_s:.1f} s"),
        ("Points in the plan", str(heading.points)),
        ("Devices seen", str(heading.devices)),
        ("Policy", heading.policy),
        ("Policy file, SHA-256", heading.policy_digest),
        ("Written by", f"pattress {__version__}"),
    ]
    rows = [tag("div", tag("dt", name), tag("dd", breakable(value))) for name, value in facts]
    return tag(
        "footer",
        tag("h2", "About this run", id="run-title"),
        tag("dl", lines(rows)),
        tag("p", NO_SUBSTITUTE),
    )
