"""Saying in plain words what a file holds and where: the parts of which faults are made.

What belongs here: words for values and for the way to them. What does not: judging them.
"""

from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from pattress.model.vocabulary import describe
from pattress.site.lines import KeyPath


def place_of(data: Mapping[str, Any], path: KeyPath) -> str:
    """Say where a path leads, counting from 1 and with the names of points and rules: "point 3 'hall', plan"."""
    words: list[str] = []
    for depth, step in enumerate(path):
        if isinstance(step, str):
            words.append(_visible(step if len(step) <= 80 else step[:77] + "..."))
            continue
        label = _label(value_at(data, path[: depth + 1]))
        words[-1] += f" {step + 1}" + (f" {label}" if label else "")
    return ", ".join(words)


def said(value: object) -> str:
    """Say a value from a file so that its type shows."""
    match value:
        case dict():
            return "a table" if value else "an empty table"
        case list():
            return "a list" if value else "an empty list"
        case "":
            return "empty text"
        case datetime():
            return f"the date and time {value.isoformat(' ')}"
        case date():
            return f"the date {value.isoformat()}"
        case time():
            return f"the time {value.isoformat()}"
        case float() if value.is_integer() and abs(value) < 1e15:
            return f"{value:.1f}"  # 3 and 3.0 are two types in TOML, and the difference may be the fault
        case int() if abs(value) >= 10**20:
            return "a number of more than 20 digits"
        case str():
            return describe(_visible(value))
        case _:
            return describe(value)


def _visible(text: str) -> str:
    """Control and direction characters as escapes: a file from elsewhere may hold some, and a terminal obeys them."""
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode("ascii") for one in text)


def value_at(data: object, path: KeyPath) -> Any:
    """Return what a path leads to, or None where it leads nowhere."""
    here: Any = data
    for step in path:
        if isinstance(step, str) and isinstance(here, Mapping):
            here = here.get(step)
        elif isinstance(step, int) and isinstance(here, list) and step < len(here):
            here = here[step]
        else:
            return None
    return here


def _label(element: object) -> str | None:
    if not isinstance(element, dict):
        return None
    label = next((element[key] for key in ("name", "id") if isinstance(element.get(key), str)), None)
    return None if label is None else repr(label[:40])
