"""Text as a QR code (ISO/IEC 18004): which modules are dark. The one module that knows the library for it.

What belongs here: the code. What does not: how large it is printed, and what is in it.
"""

import segno

QUIET_MODULES = 4  # light modules all around it, ISO/IEC 18004 section 6.3.8

Modules = tuple[tuple[bool, ...], ...]
"""Row by row from the top, True where dark, without the quiet zone."""


def qr_modules(text: str) -> Modules:
    """Return the code of a text, in the smallest size in which 15 % of it may be lost (level M), or more if it fits.

    Raises:
        ValueError: If the text is too long for the largest code.
    """
    try:
        code = segno.make_qr(text, error="m", boost_error=True, encoding="utf-8")
    except segno.DataOverflowError as error:
        raise ValueError(f"{len(text)} characters are too many for a code") from error
    return tuple(tuple(bool(module) for module in row) for row in code.matrix)


def dark_path(modules: Modules) -> str:
    """Return the dark modules as the path of an SVG in units of one module, the quiet zone left free around it."""
    parts = []
    for y, row in enumerate(modules, start=QUIET_MODULES):
        x = 0
        while x < len(row):
            width = 0
            while x + width < len(row) and row[x + width]:
                width += 1
            if width:
                parts.append(f"M{x + QUIET_MODULES} {y}h{width}v1h-{width}z")
            x += width or 1
    return "".join(parts)
