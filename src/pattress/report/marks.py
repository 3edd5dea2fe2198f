"""The marks of a page: one shape for each outcome and each severity, so that nothing is told by colour alone."""

from pattress.model.closein import StepOutcome
from pattress.model.finding import Outcome
from pattress.model.rules import Severity
from pattress.report.markup import Markup, lines, tag

OUTCOME_WORDS: dict[Outcome, str] = {
    "broken": "Broken",
    "unverified": "Could not be checked",
    "waived": "Accepted",
    "met": "Met",
}
# Drawn in a box of 24 by 24: an octagon with a cross, a ring of dashes with a question, a tab, a disc with a tick,
# a disc with a bar; a triangle with a bolt, a diamond with a bar, a disc with a dot over a stem.
_SHAPES: dict[str, str] = {
    "broken": "M8 2h8l6 6v8l-6 6H8l-6-6V8zM8.5 8.5l7 7m0-7l-7 7",
    "unverified": (
        "M9 2.4a10 10 0 0 1 6 0M19 4.9a10 10 0 0 1 2.8 5M21.4 15.4a10 10 0 0 1-3.6 4.6M14 21.8a10 10 0 0 1-6-.6"
        "M4 18a10 10 0 0 1-1.9-5M2.6 8.5a10 10 0 0 1 3-4.2M9 9.5a3 3 0 1 1 4.2 2.7q-1.2.6-1.2 2M12 17.2v.4"
    ),
    "waived": "M6 2h12v20l-6-5-6 5zM9 8h6M9 12h6",
    "met": "M2 12a10 10 0 1 0 20 0 10 10 0 1 0-20 0M7.5 12.5l3.2 3.2 6-7",
    "skipped": "M2 12a10 10 0 1 0 20 0 10 10 0 1 0-20 0M7 12h10",
    "danger": "M12 2L23 21H1zM13 8l-3 5.5h4L11 18.5",
    "fault": "M12 1.5L22.5 12 12 22.5 1.5 12zM12 7v6M12 16.2v.4",
    "advice": "M2 12a10 10 0 1 0 20 0 10 10 0 1 0-20 0M12 11v6M12 7v.4",
}


def sheet() -> Markup:
    """Return every shape once, hidden, for `mark` to show."""
    symbols = [
        tag("symbol", tag("path", d=path), id=f"mark-{name}", viewBox="0 0 24 24") for name, path in _SHAPES.items()
    ]
    return tag("svg", lines(symbols), class_="sheet", aria_hidden="true", width="0", height="0")


def mark(name: Outcome | StepOutcome | Severity) -> Markup:
    """Return a shape. The word for it must stand beside it."""
    return tag("svg", tag("use", href=f"#mark-{name}"), class_="mark", aria_hidden="true", width="24", height="24")


def badge(severity: Severity) -> Markup:
    """Return a severity as shape and word."""
    return tag("span", mark(severity), tag("span", severity), class_=f"badge {severity}")
