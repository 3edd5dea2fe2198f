"""A rule in words: to what it applies and what it asks for, before any device was looked at.

What belongs here: sentences about rules. What does not: sentences about findings (`model/finding`).
"""

from pattress.model.rules import Applies, Comparison, Requirement
from pattress.model.site import Networks
from pattress.policy.compare import expectation

_PLANNED: dict[Comparison, str] = {
    "equal": "what the plan says",
    "at_least": "at least what the plan says",
    "at_most": "at most what the plan says",
    "version_at_least": "the version that the plan says, or a later one",
}
_RATED: dict[Comparison, str] = {
    "at_least": "at least the {field} of the kind's data sheet",
    "at_most": "at most the {field} of the kind's data sheet",
    "between": "within the {field} of the kind's data sheet",
}
_NETWORKS = {
    "devices": "an address in the device networks, or a name under the site's own domains",
    "inside": "an address in a network of the site, or a name under its own domains",
}


def requirement_words(requirement: Requirement, networks: Networks | None = None) -> str:
    """Return what a setting must be, in words, and what holds where the plan or the data sheet says nothing.

    `networks` are the site's, where a site is known: an address is then said by its networks.
    """
    setting = requirement.setting
    if requirement.rated is not None:
        words = _RATED[requirement.comparison].format(field=requirement.rated)
        return f"{setting} must be {words}; {_where_silent(requirement.unrated, 'the data sheet')}"
    if requirement.is_planned:
        near = f"within {requirement.within_pct:g} % of what the plan says" if requirement.within_pct else None
        words = near or _PLANNED[requirement.comparison]
        return f"{setting} must be {words}; {_where_silent(requirement.unplanned, 'the plan')}"
    return f"{setting} must be {_words(requirement, networks)}"


def applies_words(applies: Applies) -> str:
    """Return which devices a rule applies to, in words."""
    parts = [
        _listed("of kind", applies.kinds, "or"),
        _listed("of class", applies.classes, "or"),
        _listed("made by", applies.makers, "or"),
        _listed("in the room", applies.rooms, "or"),
        _listed("with", applies.has, "and"),
    ]
    said = [part for part in parts if part]
    return f"every device {', '.join(said)}" if said else "every device"


def _words(requirement: Requirement, networks: Networks | None) -> str:
    if requirement.comparison == "in_network" and networks is None and requirement.operand in _NETWORKS:
        return _NETWORKS[str(requirement.operand)]
    known = networks or Networks(devices=(), inside=())
    wanted = expectation(
        requirement.comparison, requirement.operand, requirement.setting, known, within_pct=requirement.within_pct
    )
    return wanted.words


def _where_silent(silence: str, source: str) -> str:
    held = "it is left out" if silence == "skip" else "it cannot be checked"
    return f"where {source} says nothing, {held}"


def _listed(before: str, words: tuple[str, ...], joined_by: str) -> str:
    if len(words) < 2:
        return f"{before} {words[0]}" if words else ""
    return f"{before} {', '.join(words[:-1])} {joined_by} {words[-1]}"
