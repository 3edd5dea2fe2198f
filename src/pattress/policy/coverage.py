"""How much of a policy can be judged in a house, before anything is read: which rules on which points, and what not.

What belongs here: comparing rules with plan and profiles. What does not: readings, and showing it.
"""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.rules import Beyond, Policy, Rule
from pattress.model.site import Networks
from pattress.model.vocabulary import generic_name
from pattress.policy.compiled import Check, CompiledPolicy

MAX_NEAREST = 3
_PROVISION = re.compile(r"(?P<standard>.+?) (?:provision|outcome) (?P<id>.+?)(?: \([^()]*\))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a rule can be judged or not: a point of the plan, or (None) any device of a kind."""

    kind: str
    point: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One check that cannot be made at one place, and why."""

    place: Place
    setting: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleCoverage:
    """Where one rule can be judged. `places` are those where every check of it can be made.

    Where it is neither in `places` nor in `gaps` it makes no check: it does not apply there, the plan need not speak of
    it, or the kind has no such thing.
    """

    rule: Rule
    places: tuple[Place, ...]
    gaps: tuple[Gap, ...]

    @property
    def is_idle(self) -> bool:
        """Whether it makes no check anywhere."""
        return not self.places and not self.gaps


@dataclass(frozen=True, slots=True, kw_only=True)
class Unreported:
    """A setting that rules look at and no kind here reports, with the names most like it that one does."""

    setting: str
    rules: tuple[str, ...]
    nearest: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How much of a policy can be judged. `provisions` are those that rules cite, with the ids of these."""

    policy: Policy
    places: tuple[Place, ...]
    rules: tuple[RuleCoverage, ...]
    unreported: tuple[Unreported, ...]
    provisions: Mapping[str, tuple[str, ...]]
    beyond: tuple[Beyond, ...]

    @property
    def is_whole(self) -> bool:
        """Whether every check that the policy makes here can be made."""
        return not any(one.gaps for one in self.rules)


def coverage(policy: Policy, networks: Networks, plan: Plan, profiles: Iterable[Profile]) -> Coverage:
    """Return how much of a policy can be judged at the points of a plan; without points, on every known kind."""
    by_kind = {profile.id: profile for profile in profiles}
    sites: Sequence[tuple[Profile, Point | None]] = [
        (by_kind[point.kind], point) for point in plan.points if point.kind in by_kind
    ]
    if not plan.points:
        sites = [(profile, None) for _, profile in sorted(by_kind.items())]
    compiled = CompiledPolicy(policy, networks)
    judged: dict[str, list[Place]] = {rule.id: [] for rule in policy.rules}
    gaps: dict[str, list[Gap]] = {rule.id: [] for rule in policy.rules}
    asked_for: dict[str, set[str]] = {}
    for profile, point in sites:
        place = Place(kind=profile.id, point=point.name if point is not None else None)
        for rule, checks in _by_rule(compiled.checks(profile, point)).items():
            found = [gap for check in checks if (gap := _gap(check, profile, place)) is not None]
            gaps[rule].extend(found)
            if not found:
                judged[rule].append(place)
            for check in checks:
                asked_for.setdefault(generic_name(check.setting), set()).add(rule)
    return Coverage(
        policy=policy,
        places=tuple(Place(kind=profile.id, point=point.name if point else None) for profile, point in sites),
        rules=tuple(
            RuleCoverage(rule=rule, places=tuple(judged[rule.id]), gaps=tuple(gaps[rule.id])) for rule in policy.rules
        ),
        unreported=_unreported(asked_for, [profile for profile, _ in sites]),
        provisions=_provisions(policy.rules),
        beyond=policy.beyond,
    )


def provision_of(cite: str) -> str | None:
    """Return the provision that a rule cites, without remarks; None where it cites something else."""
    found = _PROVISION.fullmatch(cite)
    return f"{found['standard']} {found['id']}" if found is not None else None


def reports(profile: Profile, setting: str) -> bool:
    """Whether a kind says a setting, by its concrete name: in a document, or by its construction."""
    return any(
        source.name == setting
        or (".*." in source.name and source.name.replace(".*.", ".N.", 1) == generic_name(setting))
        for source in profile.settings
    )


def _by_rule(checks: Iterable[Check]) -> dict[str, list[Check]]:
    grouped: dict[str, list[Check]] = {}
    for check in checks:
        grouped.setdefault(check.rule.id, []).append(check)
    return grouped


def _gap(check: Check, profile: Profile, place: Place) -> Gap | None:
    reason = check.gap
    if reason is None and not check.wants_absence and not reports(profile, check.setting):
        reason = f"{profile.id} does not report it"
    return None if reason is None else Gap(place=place, setting=check.setting, reason=reason)


def _unreported(asked_for: Mapping[str, set[str]], profiles: Sequence[Profile]) -> tuple[Unreported, ...]:
    reported = {
        generic_name(source.name.replace(".*.", ".N.", 1)) for profile in profiles for source in profile.settings
    }
    return tuple(
        Unreported(
            setting=setting,
            rules=tuple(sorted(rules)),
            nearest=tuple(difflib.get_close_matches(setting, sorted(reported), n=MAX_NEAREST)),
        )
        for setting, rules in sorted(asked_for.items())
        if setting not in reported
    )


def _provisions(rules: Iterable[Rule]) -> Mapping[str, tuple[str, ...]]:
    cited: dict[str, list[str]] = {}
    for rule in rules:
        for cite in rule.cites:
            provision = provision_of(cite)
            if provision is not None:
                cited.setdefault(provision, []).append(rule.id)
    return {provision: tuple(ids) for provision, ids in sorted(cited.items())}
