"""Text from strangers made safe to show: control and direction characters become visible."""

import re

# C0 and C1 controls, line and paragraph separators, zero-width and direction characters (Unicode 15, Cc, Zl, Zp, Cf).
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff]"
)


def visible(text: str) -> str:
    """Return `text` on one line, with each control or direction character written as its number: `<U+001B>`."""
    return _HIDDEN.sub(lambda found: f"<U+{ord(found[0]):04X}>", text)
