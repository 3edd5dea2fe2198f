"""The doctor's findings for people and machines."""

from collections.abc import Iterable, Sequence
from typing import Any

from pattress.model.diagnosis import Diagnosis
from pattress.report.text import Style
from pattress.report.visible import visible

_ORDER = ("broken", "unverified", "met")
_WORDS = {"broken": "WRONG", "unverified": "NOT SURE", "met": "right"}


def doctor_text(diagnoses: Sequence[Diagnosis], style: Style) -> str:
    """Return what is wrong first, each with its remedy, then what is right."""
    lines: list[str] = []
    for one in sorted(diagnoses, key=lambda each: _ORDER.index(each.outcome)):
        word = style.strong(f"{_WORDS[one.outcome]:8}", one.outcome)
        lines.append(f"{word}  {visible(one.title)}: {visible(one.found)}")
        if one.outcome != "met":
            lines += style.wrapped(f"To do: {one.remedy}", indent=10)
    return "\n".join(lines) + "\n"


def doctor_document(diagnoses: Iterable[Diagnosis]) -> dict[str, Any]:
    """Return the diagnoses as `pattress.doctor/1`."""
    return {
        "schema": "pattress.doctor/1",
        "diagnoses": [
            {
                "name": one.name,
                "title": one.title,
                "outcome": one.outcome,
                "found": one.found,
                "remedy": None if one.outcome == "met" else one.remedy,
            }
            for one in diagnoses
        ],
    }
