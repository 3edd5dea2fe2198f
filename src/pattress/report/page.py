"""A document of HTML that loads nothing and runs nothing, whatever became of the text in it.

What belongs here: what stands around every page. What does not: the body of any.
"""

import base64
import hashlib
from functools import cache
from importlib.resources import files

from pattress.report.markup import Content, Markup, tag


def html_document(title: str, style: str, *body: Content) -> str:
    """Return a whole document with this one style."""
    return f"<!DOCTYPE html>\n{tag('html', _head(title, style), tag('body', *body), lang='en').html}\n"


@cache
def style_of(*names: str) -> str:
    """Return the style sheets of these names, one after another."""
    return "".join((files("pattress.report") / name).read_text(encoding="utf-8") for name in names)


def _head(title: str, style: str) -> Markup:
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode("ascii")
    # Nothing may be loaded, run or sent, even if text of a stranger ever became markup: only this one style holds.
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("meta", name="referrer", content="no-referrer"),
        tag("meta", name="robots", content="noindex"),
        tag("title", title),
        tag("style", Markup(style)),
    )
