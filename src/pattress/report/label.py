"""A label of 40 by 20 mm for the back of a plate: a code that leads to the point's page, the point, the day, an id.

What belongs here: the label as an SVG, and as a page that prints at its size. What does not: what it rests on (see
`certificate_record`).
"""

import unicodedata
from collections.abc import Sequence

from pattress.report.certificate_record import CertificateRecord, Verdict
from pattress.report.markup import Content, Markup, lines, tag
from pattress.report.page import html_document, style_of
from pattress.report.qr_code import QUIET_MODULES, Modules, dark_path, qr_modules
from pattress.report.visible import visible

WIDTH_MM, HEIGHT_MM = 40.0, 20.0
DOT_MM = 25.4 / 300  # of a printer with 300 dots to the inch
CODE_MM = 18.6  # with its quiet zone; the rest is the edge that printers leave white
# 0.254 mm: that a phone reads modules of a quarter of a millimetre from a hand's breadth is common practice.
MIN_DOTS = 3
TEXT_LEFT_MM = 19.6
TEXT_WIDTH_MM = WIDTH_MM - TEXT_LEFT_MM - 0.9
ADVANCE = 0.61  # of a fixed-width letter, by its size
NAME_SIZES_MM = ((3.4, 2), (2.8, 3), (2.3, 4), (1.75, 4))  # size of letters, and how many lines of them
STATE_WORDS: dict[Verdict, str | None] = {
    "in-order": None,
    "with-gaps": "WITH GAPS",
    "not-in-order": "NOT IN ORDER",
    "unfinished": "UNFINISHED",
    "given-up": "NOT SIGNED",
}


def label_svg(record: CertificateRecord) -> str:
    """Return the label as an SVG document of its true size.

    Raises:
        ValueError: If what the code must hold is too long for a label.
    """
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{_svg(record, xmlns="http://www.w3.org/2000/svg").html}\n'


def label_html(record: CertificateRecord) -> str:
    """Return the label as a page of its own size.

    Raises:
        ValueError: If what the code must hold is too long for a label.
    """
    title = f"{record.site_name}: label of {record.check.point}"
    return html_document(title, style_of("label.css"), tag("main", tag("h1", title, class_="unseen"), _svg(record)))


def _svg(record: CertificateRecord, **attributes: str) -> Markup:
    modules = qr_modules(record.code_text)
    module_mm = _module_mm(modules)
    side_mm = (len(modules) + 2 * QUIET_MODULES) * module_mm
    corner_mm = (HEIGHT_MM - side_mm) / 2
    turn = f"translate({_mm((CODE_MM - side_mm) / 2 + 0.7)} {_mm(corner_mm)}) scale({module_mm:.6f})"
    check = record.check
    day = (check.ended_at or check.began_at).strftime("%Y-%m-%d")
    return tag(
        "svg",
        tag("title", f"{check.point}, {day}, {record.short_id}"),
        tag("rect", width=_mm(WIDTH_MM), height=_mm(HEIGHT_MM), fill="#fff"),
        tag("path", d=dark_path(modules), transform=turn, fill="#000", shape_rendering="crispEdges"),
        lines(_texts(record, day)),
        width=f"{WIDTH_MM:g}mm",
        height=f"{HEIGHT_MM:g}mm",
        viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
        role="img",
        **attributes,
    )


def _module_mm(modules: Modules) -> float:
    """Return the size of a module: as many whole dots as fit, so that a printer draws all of them alike.

    Raises:
        ValueError: If a printer or a phone could not tell them apart.
    """
    dots = int(CODE_MM / DOT_MM) // (len(modules) + 2 * QUIET_MODULES)
    if dots < MIN_DOTS:
        raise ValueError("the code would be too fine to be read from a label of 40 by 20 mm")
    return dots * DOT_MM


def _texts(record: CertificateRecord, day: str) -> list[Content]:
    size_mm, name = _fitted(visible(record.check.point))
    contents: list[Content] = [
        _text(line, size_mm, 1.1 + size_mm * (0.85 + 1.12 * number), weight="700") for number, line in enumerate(name)
    ]
    state = STATE_WORDS[record.verdict]
    if state is not None:  # dark ground, so that nobody takes it for the day of a label that is in order
        ground = {"x": _mm(TEXT_LEFT_MM), "y": "11", "width": _mm(TEXT_WIDTH_MM + 0.4), "height": "2.9", "fill": "#000"}
        contents += [
            tag("rect", **ground),
            _text(state, 2.3, 13.25, weight="700", x_mm=TEXT_LEFT_MM + 0.5, fill="#fff"),
        ]
    return [*contents, _text(day, 2.3, 16.4), _text(record.short_id, 2.3, 19.0)]


def _text(
    words: str, size_mm: float, y_mm: float, *, weight: str = "400", x_mm: float = TEXT_LEFT_MM, fill: str = "#000"
) -> Markup:
    return tag(
        "text",
        words,
        x=_mm(x_mm),
        y=_mm(y_mm),
        fill=fill,
        font_size=_mm(size_mm),
        font_weight=weight,
        font_family="'DejaVu Sans Mono', 'Liberation Mono', 'Courier New', monospace",
    )


def _fitted(name: str) -> tuple[float, Sequence[str]]:
    """Return the largest size at which a name fits, and its lines; the smallest, cut, where none does."""
    for size_mm, count in NAME_SIZES_MM:
        broken = _lines(name, TEXT_WIDTH_MM / (size_mm * ADVANCE))
        if len(broken) <= count:
            return size_mm, broken
    return size_mm, [*broken[: count - 1], f"{broken[count - 1][:-1]}…"]


def _lines(name: str, columns: float) -> list[str]:
    """Return a name in lines of so many columns, broken after a hyphen where that is not too early."""
    found, line = list[str](), ""
    for letter in name:
        if _columns(line + letter) > columns:
            at = line.rfind("-") + 1
            cut = at if at > len(line) / 3 else len(line)
            found.append(line[:cut])
            line = line[cut:]
        line += letter
    return [*found, line]


def _columns(text: str) -> int:
    """Return how many fixed-width letters a text is as wide as: those of East Asia take two (Unicode Annex 11)."""
    return sum(2 if unicodedata.east_asian_width(one) in "WF" else 1 for one in text)


def _mm(length: float) -> str:
    return f"{length:.3f}".rstrip("0").rstrip(".")
