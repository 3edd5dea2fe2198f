"""Elements of a page. Text becomes part of one only through here, made visible and escaped; nothing else is markup.

What belongs here: the way from text to safe markup. What does not: any element in particular.
"""

import html
import re
from collections.abc import Iterable
from dataclasses import dataclass

from pattress.report.visible import visible

UNBROKEN_LENGTH = 16  # characters that fit into the narrowest column as one word
_VOID = frozenset({"link", "meta"})  # elements of the HTML standard that have no end tag, of those that we use


@dataclass(frozen=True, slots=True)
class Markup:
    """Text that is markup already. Only this module and constants of ours make it."""

    html: str


Content = Markup | str | None


def tag(element: str, /, *contents: Content, **attributes: str | bool | None) -> Markup:
    """Return one element. Text among the contents and in attributes is escaped; None is nothing.

    The name of an attribute may end in `_` (`class_`) and hold `_` for a hyphen; False and None leave it out.
    """
    words = "".join(_attribute(key, value) for key, value in attributes.items())
    if element in _VOID:
        return Markup(f"<{element}{words}>")
    return Markup(f"<{element}{words}>{together(*contents).html}</{element}>")


def together(*contents: Content) -> Markup:
    """Return contents one after another."""
    return Markup("".join(_safe(one) for one in contents))


def lines(contents: Iterable[Content]) -> Markup:
    """Return contents, each on a line of its own in the file."""
    return Markup("\n".join(_safe(one) for one in contents))


def breakable(text: str) -> Markup:
    """Return text in which a long word may go on in the next line after a dot, hyphen, slash, colon or underscore."""
    parts: list[Content] = []
    for word in text.split(" "):
        if parts:
            parts.append(" ")
        if len(word) <= UNBROKEN_LENGTH:
            parts.append(word)
        else:
            pieces = re.findall(r"[^./:_-]*[./:_-]*", word)
            parts += [part for piece in pieces if piece for part in (piece, Markup("<wbr>"))][:-1]
    return together(*parts)


def _safe(content: Content) -> str:
    if content is None:
        return ""
    return content.html if isinstance(content, Markup) else html.escape(visible(content), quote=True)


def _attribute(key: str, value: str | bool | None) -> str:
    name = key.rstrip("_").replace("_", "-")
    if value is None or value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{_safe(value)}"'
