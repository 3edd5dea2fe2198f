"""Names that a person may refer to, and the nearest valid one to a name that is none of them."""

import difflib
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """The names of one sort (points, kinds, rules) that the files of a site define.

    With `is_complete` False a file that defines some of them could not be read. A name that is not among these may
    then be right, and is not called wrong: the fault of that file is reported already.
    """

    names: frozenset[str]
    is_complete: bool = True

    def lacks(self, name: str) -> bool:
        """Whether a name is certainly not defined."""
        return self.is_complete and name not in self.names

    def nearest(self, name: str) -> str | None:
        """Return the defined name most like `name`, or None."""
        return nearest(name, sorted(self.names))


def known_names(names: Iterable[object], is_valid: Callable[[object], bool]) -> Known:
    """Return the names that a file defines, where some of them may be missing, of a wrong form, or there twice.

    Whoever refers to such a one is not wrong as well: the names are then not complete.
    """
    given = list(names)
    known = frozenset(name for name in given if isinstance(name, str))
    return Known(names=known, is_complete=len(known) == len(given) and all(map(is_valid, given)))


UNKNOWN = Known(names=frozenset(), is_complete=False)
"""Where nothing is known of the names of a sort, so that none can be called wrong."""


def nearest(name: object, choices: Iterable[str]) -> str | None:
    """Return the choice most like a name, upper and lower case being alike, or None where nothing is near."""
    if not isinstance(name, str):
        return None
    by_lower_case = {choice.lower(): choice for choice in choices}
    close = difflib.get_close_matches(name.lower()[:200], by_lower_case, n=1, cutoff=0.6)
    return by_lower_case[close[0]] if close else None
