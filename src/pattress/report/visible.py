"""Text from strangers made safe to show: control and direction characters become visible."""

import re

# C0 and C1 controls, line and paragraph separators, zero-width, direction and tag characters (Unicode 15, Cc, Zl, Zp,
# Cf), lone surrogates, and the two code points that XML 1.0 forbids though they are no control (section 2.2).
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u180e\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ufffe\uffff\ud800-\udfff\U000e0000-\U000e007f]"
)


def visible(text: str) -> str:
    """Return `text` on one line, with each control or direction character written as its number: `<U+001B>`."""
    return _HIDDEN.sub(lambda found: f"<U+{ord(found[0]):04X}>", text)
