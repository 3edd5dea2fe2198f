"""Answers to questions about circuits, for people and machines: the verdict, then the working line by line."""

from collections.abc import Iterator
from typing import Any

from pattress.circuit.working import LAST_WORD, Answer, Line, Verdict, shown
from pattress.model.finding import Outcome
from pattress.model.tables import FIGURES, ConductorSize, Figure, Tables
from pattress.report.text import Style

_WORDS: dict[Verdict, tuple[str, Outcome | None]] = {
    "fits": ("FITS", "met"),
    "unfit": ("DOES NOT FIT", "broken"),
    "undecided": ("NOT SURE", "unverified"),
    "figure": ("", None),
}
_INDENT, _HANGING = 4, 7


def circuit_text(answer: Answer, tables: Tables, style: Style) -> str:
    """Return an answer: its verdict, its working with the source of each line, what to mind, who has the last word."""
    word, outcome = _WORDS[answer.verdict]
    lines = [style.strong(word, outcome)] if word else []
    lines += style.wrapped(answer.sentence[:1].upper() + answer.sentence[1:], hanging=3)
    for number, line in enumerate(answer.lines, start=1):
        lines += ["", *style.wrapped(f"{number}. {line.what}", hanging=3)]
        lines += style.wrapped(_worked(line), indent=_INDENT, hanging=_HANGING)
        lines += style.wrapped(f"by: {line.source}", indent=_INDENT, hanging=_HANGING)
    lines.append("")
    for caution in answer.cautions:
        lines += style.wrapped(f"Mind: {caution}", hanging=3)
    lines += style.wrapped(f"Tables: {_edition(tables)}.", hanging=3)
    lines += style.wrapped(answer.last_word, hanging=3)
    return "\n".join(lines) + "\n"


def circuit_document(answer: Answer, tables: Tables) -> dict[str, Any]:
    """Return an answer as `pattress.circuit/1`."""
    return {
        "schema": "pattress.circuit/1",
        "question": answer.question,
        "verdict": answer.verdict,
        "sentence": answer.sentence,
        "values": dict(sorted(answer.values.items())),
        "working": [line_entry(line) for line in answer.lines],
        "cautions": list(answer.cautions),
        "tables": tables_entry(tables),
        "last_word": answer.last_word,
    }


def line_entry(line: Line) -> dict[str, Any]:
    """Return one line of a working, as every document that holds one has it."""
    return {
        "what": line.what,
        "formula": line.formula,
        "numbers": line.numbers,
        "result": line.result,
        "unit": line.unit,
        "source": line.source,
    }


def tables_entry(tables: Tables) -> dict[str, Any]:
    """Return which tables something was computed by, as every document that says so has it."""
    return {"family": tables.family, "title": tables.title, "edition": tables.edition}


def tables_text(tables: Tables, style: Style) -> str:
    """Return every figure of the tables, each with its unit, its meaning and its source."""
    lines = [style.strong(_edition(tables)), ""]
    for name, definition in FIGURES.items():
        unit = "" if definition.unit == "1" else f" {definition.unit}"
        lines += style.wrapped(f"{name} = {shown(tables.value(name))}{unit}: {definition.meaning}", hanging=3)
        lines += style.wrapped(f"by: {tables.figure(name).source}", indent=_INDENT, hanging=_HANGING)
    for kind, facts in tables.kinds.items():
        lines += ["", style.strong(kind)]
        parts: list[tuple[str, Figure | None]] = [
            ("power_factor", facts.power_factor),
            ("inrush", facts.inrush),
            ("contact_share", facts.contact_share),
            ("dimmer_share", facts.dimmer_share),
        ]
        for name, figure in parts:
            if figure is not None:
                lines += style.wrapped(
                    f"{name} = {shown(figure.value)}, by: {figure.source}", indent=_INDENT, hanging=_HANGING
                )
        lines += style.wrapped(
            f"edges: {', '.join(facts.edges) or 'none, it cannot be dimmed'}", indent=_INDENT, hanging=_HANGING
        )
    for size in tables.sizes:
        lines += ["", style.strong(f"{size.name} ({shown(size.area_mm2)} mm²)")]
        for name, unit, figure in _of_size(size, tables):
            lines += style.wrapped(
                f"{name}: {shown(figure.value)} {unit}, by: {figure.source}", indent=_INDENT, hanging=_HANGING
            )
    return "\n".join([*lines, "", *style.wrapped(LAST_WORD, hanging=3)]) + "\n"


def tables_document(tables: Tables) -> dict[str, Any]:
    """Return every figure of the tables as `pattress.circuit-tables/1`."""
    return {
        "schema": "pattress.circuit-tables/1",
        "family": tables.family,
        "title": tables.title,
        "edition": tables.edition,
        "laying": tables.laying,
        "ways": dict(tables.ways),
        "figures": {
            name: {**_figure(tables.figure(name)), "unit": FIGURES[name].unit, "meaning": FIGURES[name].meaning}
            for name in FIGURES
        },
        "kinds": {
            kind: {
                "power_factor": _figure(facts.power_factor),
                "inrush": _figure(facts.inrush),
                "contact_share": _figure(facts.contact_share),
                "dimmer_share": None if facts.dimmer_share is None else _figure(facts.dimmer_share),
                "edges": list(facts.edges),
            }
            for kind, facts in tables.kinds.items()
        },
        "sizes": [
            {
                "name": size.name,
                "area_mm2": size.area_mm2,
                "awg": size.awg,
                "figures": [
                    {"name": name, "unit": unit, **_figure(figure)} for name, unit, figure in _of_size(size, tables)
                ],
            }
            for size in tables.sizes
        ],
        "last_word": LAST_WORD,
    }


def _worked(line: Line) -> str:
    result = "" if line.result is None else f"{shown(line.result)} {'' if line.unit == '1' else line.unit}".strip()
    if any(sign in line.formula for sign in "≤≥"):
        return f"{line.formula}: {line.numbers}"
    parts = [line.formula, line.numbers, *([result] if result != line.numbers else [])]
    return " = ".join(part for part in parts if part)


def _of_size(size: ConductorSize, tables: Tables) -> Iterator[tuple[str, str, Figure]]:
    for construction, figure in size.ohm_per_km.items():
        yield f"resistance, {construction}, at {shown(tables.resistance_c)} °C", "Ω/km", figure
    for way, figure in size.capacity_a.items():
        yield f"carries, {way} ({tables.ways[way]})", "A", figure
    for name, unit, one in (
        ("largest breaker", "A", size.breaker_a),
        ("room in a box", "cm³", size.box_cm3),
        ("drop of two conductors", "mV/A/m", size.mv_per_a_m),
    ):
        if one is not None:
            yield name, unit, one


def _figure(figure: Figure) -> dict[str, Any]:
    return {"value": figure.value, "source": figure.source}


def _edition(tables: Tables) -> str:
    return f"{tables.title}, {tables.edition}"
