"""Close-in checks for people and machines, beside the certificate.

What belongs here: the summary after a check, and its document. What does not: the printed page (`certificate`).
"""

from collections.abc import Iterator, Sequence

from pattress.model.closein import CloseIn, StepResult
from pattress.report.document import Document, time_text
from pattress.report.planned import steps_not_done
from pattress.report.text import Style


def check_text(checks: Sequence[CloseIn], style: Style) -> str:
    """Return what came of each check, each step that is not met, and those that were not done, within the width."""
    lines = (line for entry in _entries(checks) for line in style.wrapped(entry, hanging=4))
    return "\n".join(lines) + "\n"


def close_in_document(checks: Sequence[CloseIn]) -> Document:
    """Return checks as `pattress.close-in/1`."""
    return {"schema": "pattress.close-in/1", "checks": [_check_entry(one) for one in checks]}


def step_entry(result: StepResult) -> Document:
    """Return one step, as every document that holds steps has it; of its samples only how many there are."""
    return {
        "step": result.step,
        "title": result.title,
        "try": result.number,
        "outcome": result.outcome,
        "sentence": result.sentence,
        "began_at": time_text(result.began_at),
        "ended_at": time_text(result.ended_at),
        "facts": dict(result.facts),
        "sample_count": len(result.samples),
    }


def _entries(checks: Sequence[CloseIn]) -> Iterator[str]:
    for check in checks:
        count = dict.fromkeys(("met", "broken", "unverified", "skipped"), 0)
        for result in check.results:
            count[result.outcome] += 1
        state = "signed off" if check.is_signed_off else "NOT signed off: do not close the wall"
        yield (
            f"{check.point}: {state}. {count['met']} met, {count['broken']} broken, {count['unverified']} could not be "
            f"checked, {count['skipped']} skipped (check {check.id})"
        )
        for result in check.results:
            if result.outcome != "met":
                yield f"  {result.outcome}: {result.step}: {result.sentence}"
        if not_done := steps_not_done(check):
            yield f"  not done: {', '.join(not_done)}"


def _check_entry(check: CloseIn) -> Document:
    return {
        "id": check.id,
        "point": check.point,
        "device": check.device,
        "who": check.who,
        "began_at": time_text(check.began_at),
        "ended_at": None if check.ended_at is None else time_text(check.ended_at),
        "is_signed_off": check.is_signed_off,
        "steps": [step_entry(one) for one in check.results],
        "not_done": list(steps_not_done(check)),
    }
