"""Ordering of firmware versions.

Any count of dotted numbers, an optional leading `v`, an optional pre-release after a hyphen, optional build metadata
after a plus sign. Source: Semantic Versioning 2.0.0, section 11, widened to any count of numbers.
"""

import re

_VERSION = re.compile(
    r"v?(\d{1,9}(?:\.\d{1,9}){0,7})(?:-([0-9A-Za-z.-]{1,64}))?(?:\+[0-9A-Za-z.-]{1,64})?", re.IGNORECASE
)

_Identifier = tuple[int, int, str]
VersionKey = tuple[tuple[int, ...], int, tuple[_Identifier, ...]]


def version_key(text: str) -> VersionKey | None:
    """Return a key that orders versions, or None where `text` is no version that can be ordered."""
    found = _VERSION.fullmatch(text)
    if found is None:
        return None
    numbers = tuple(int(part) for part in found[1].split("."))
    while len(numbers) > 1 and numbers[-1] == 0:  # 2.1 and 2.1.0 are one version
        numbers = numbers[:-1]
    if found[2] is None:
        return numbers, 1, ()
    return numbers, 0, tuple(_identifier(part) for part in found[2].split("."))


def _identifier(text: str) -> _Identifier:
    """Numeric identifiers order by number and before all others, which order by their characters."""
    return (0, int(text), "") if text.isdecimal() else (1, 0, text)
