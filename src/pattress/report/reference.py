"""The vocabulary as text for a terminal, and as the reference page of the documentation."""

from collections.abc import Iterable, Iterator
from itertools import groupby

from pattress.model.vocabulary import SettingDefinition, definitions
from pattress.report.text import Style

PAGE_HEAD = """\
# Setting names

Generated from `src/pattress/model/vocabulary.py` by `make docs`; a test fails when the two differ.

One vocabulary for every maker. `N` is the number of a channel, counted from 1. A *setting* stays until someone changes
it; a *measurement* changes by itself. Units are UCUM symbols (`Cel` is degree Celsius, `By` is byte, `1` is none).
"""


def settings_text(chosen: Iterable[SettingDefinition], style: Style) -> str:
    """Return definitions as text: one line each, or two and more where the terminal is too narrow for that."""
    rows = [("~" if one.nature == "measurement" else " ", one.name, one.expectation, one.meaning) for one in chosen]
    names, kinds = (max(len(row[column]) for row in rows) for column in (1, 2))
    lines = [f"{mark} {name:{names}}  {kind:{min(kinds, 44)}}  {meaning}" for mark, name, kind, meaning in rows]
    if max(map(len, lines)) > style.width:
        lines = [line for row in rows for line in _entry(*row, style)]
    legend = "~ is a measurement: it changes by itself. N is the number of a channel, from 1."
    return "\n".join([*lines, "", *style.wrapped(legend)]) + "\n"


def settings_page() -> str:
    """Return the reference page, in Markdown."""
    return "\n".join(_page_lines()) + "\n"


def _entry(mark: str, name: str, kind: str, meaning: str, style: Style) -> list[str]:
    return [f"{mark} {name}", *style.wrapped(f"{kind}: {meaning}", indent=6)]


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
