"""A policy made ready: for each kind of device and point, the flat list of checks that apply.

What belongs here: which rule applies where, channels, operands from the plan and the data sheet. What does not:
looking at a reading.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from pattress.model.plan import Point
from pattress.model.profile import CHANNEL_GROUPS, Profile
from pattress.model.rules import Applies, Operand, Policy, Requirement, Rule
from pattress.model.site import Networks
from pattress.model.vocabulary import generic_name
from pattress.policy.compare import Expectation, Test, expectation


@dataclass(frozen=True, slots=True)
class Check:
    """One rule on one setting, with its test. A check without a test cannot be made, and `gap` says why."""

    rule: Rule
    setting: str
    expected: str
    test: Test | None
    gap: str | None = None
    wants_absence: bool = False


class CompiledPolicy:
    """A policy, compiled once for a site. What does not depend on a plan is kept per kind and room."""

    def __init__(self, policy: Policy, networks: Networks) -> None:
        self.policy = policy
        self._networks = networks
        self._unplanned: dict[tuple[str, str], tuple[tuple[int, Check], ...]] = {}

    def checks(self, profile: Profile, point: Point | None) -> tuple[Check, ...]:
        """Return the checks for a device of this kind, in the order of the policy.

        Without a point nothing is planned: requirements that need a plan are left out, since a device without a
        point is a finding of its own.
        """
        room = point.room if point is not None else ""
        key = (profile.id, room)
        fixed = self._unplanned.get(key)
        if fixed is None:
            fixed = self._unplanned[key] = tuple(self._fixed_checks(profile, room))
        if point is None:
            return tuple(check for _, check in fixed)
        both = [*fixed, *self._planned_checks(profile, point)]
        both.sort(key=lambda numbered: numbered[0])
        return tuple(check for _, check in both)

    def _applying(self, profile: Profile, room: str) -> Iterator[tuple[int, Rule, Requirement, str]]:
        for number, rule in enumerate(self.policy.rules):
            if _applies(rule.applies, profile, room):
                for requirement in rule.requirements:
                    for setting in _settings(requirement.setting, profile):
                        yield number, rule, requirement, setting

    def _fixed_checks(self, profile: Profile, room: str) -> Iterator[tuple[int, Check]]:
        for number, rule, requirement, setting in self._applying(profile, room):
            if requirement.rated is not None:
                rated = getattr(profile.data_sheet, requirement.rated)
                if rated is not None:
                    wanted = self._expectation(requirement, rated, setting)
                    yield number, Check(rule, setting, f"{wanted.words}, by its data sheet", wanted.test)
                elif requirement.unrated == "unverified":
                    gap = f"the data sheet of {profile.id} does not say {requirement.rated}"
                    yield number, Check(rule, setting, "as its data sheet says", None, gap)
            elif not requirement.is_planned:
                wanted = self._expectation(requirement, requirement.operand, setting)
                is_absence = requirement.comparison == "absent"
                yield number, Check(rule, setting, wanted.words, wanted.test, wants_absence=is_absence)

    def _planned_checks(self, profile: Profile, point: Point) -> Iterator[tuple[int, Check]]:
        for number, rule, requirement, setting in self._applying(profile, point.room):
            if not requirement.is_planned:
                continue
            planned = point.settings.get(setting)
            if planned is not None:
                wanted = self._expectation(requirement, planned, setting)
                yield number, Check(rule, setting, f"{wanted.words}, as planned", wanted.test)
            elif requirement.unplanned == "unverified":
                yield number, Check(rule, setting, "as planned", None, f"the plan of {point.name} does not say it")

    def _expectation(self, requirement: Requirement, operand: Operand, setting: str) -> Expectation:
        return expectation(requirement.comparison, operand, setting, self._networks, within_pct=requirement.within_pct)


def _applies(applies: Applies, profile: Profile, room: str) -> bool:
    return (
        (not applies.kinds or profile.id in applies.kinds)
        and (not applies.classes or profile.module_class in applies.classes)
        and (not applies.makers or profile.maker in applies.makers)
        and (not applies.rooms or room in applies.rooms)
        and all(profile.has(capability) for capability in applies.has)
    )


def _settings(pattern: str, profile: Profile) -> Iterator[str]:
    """Yield the concrete names of a pattern on this kind, less what the kind has not by construction."""
    group = pattern.split(".", 1)[0]
    if ".*." in pattern:
        count = profile.channels.get(group, 0)
        names = [pattern.replace("*", str(channel), 1) for channel in range(1, count + 1)]
    else:
        names = [pattern] if group not in CHANNEL_GROUPS or profile.channels.get(group, 0) > 0 else []
    lacks = {name.replace(".*.", ".N.", 1) for name in profile.lacks}
    if group not in lacks:
        yield from (name for name in names if name not in lacks and generic_name(name) not in lacks)
