"""The vocabulary as text for a terminal, and as the reference page of the documentation."""

from collections.abc import Iterable, Iterator
from itertools import groupby

from pattress.model.vocabulary import SettingDefinition, definitions

PAGE_HEAD = """\
# Setting names

Generated from `src/pattress/model/vocabulary.py` by `make docs`; a test fails when the two differ.

One vocabulary for every maker. `N` is the number of a channel, counted from 1. A *setting* stays until someone changes
it; a *measurement* changes by itself. Units are UCUM symbols (`Cel` is degree Celsius, `By` is byte, `1` is none).
"""


def settings_text(chosen: Iterable[SettingDefinition]) -> str:
    """Return definitions as text, one line each."""
    rows = [(one.name, one.expectation, one.nature, one.meaning) for one in chosen]
    widths = [max(len(row[column]) for row in rows) for column in range(2)]
    lines = []
    for name, expected, nature, meaning in rows:
        mark = "~" if nature == "measurement" else " "
        lines.append(f"{mark} {name:{widths[0]}}  {expected:{min(widths[1], 44)}}  {meaning}")
    lines.append("")
    lines.append("~ is a measurement: it changes by itself. N is the number of a channel, from 1.")
    return "\n".join(lines) + "\n"


def settings_page() -> str:
    """Return the reference page, in Markdown."""
    return "\n".join(_page_lines()) + "\n"


def _page_lines() -> Iterator[str]:
    yield PAGE_HEAD.rstrip("\n")
    for section, members in groupby(definitions(), key=lambda one: one.section):
        yield ""
        yield f"## {section}"
        yield ""
        yield "| name | is | holds | meaning |"
        yield "| --- | --- | --- | --- |"
        for one in members:
            yield f"| `{one.name}` | {one.nature} | {one.expectation} | {one.meaning} |"


if __name__ == "__main__":
    print(settings_page(), end="")
