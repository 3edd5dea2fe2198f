"""What an audit must find of the emulated house: what a fault is, and the findings that follow from those that are on.

What belongs here: findings, from the truth of the house and its policy. What does not: which faults there are
(`faults`), and bringing them about (`run`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from pattress.lab.house import LabModule, Twist
from pattress.lab.wiring import Wiring
from pattress.model.finding import Outcome
from pattress.model.rules import Policy, Requirement
from pattress.site.load import load_policy

POLICY = "isolated-house"


class Expected(NamedTuple):
    """One finding that an audit must come to, where a healthy house has none but `met`."""

    title: str
    rule: str
    setting: str | None
    outcome: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong. `point` is where; None for a device in no plan.

    `found` holds rule, setting and outcome of the findings it leads to. `loses` are beginnings of the settings that it
    keeps from being read; "" is all of them. `misfits` are the settings that a reading must call unfit for their type.
    `joins` names the device that it adds to the network.
    """

    name: str
    what: str
    point: str | None
    twist: Twist = field(default_factory=Twist)
    found: tuple[tuple[str, str | None, Outcome], ...] = ()
    loses: tuple[str, ...] = ()
    misfits: tuple[str, ...] = ()
    joins: Literal["stranger", "double"] | None = None

    @property
    def hides_its_point(self) -> bool:
        """Whether nothing else that is wrong at its point can be seen."""
        return "" in self.loses


def expected_findings(
    faults: Iterable[Fault], modules: Mapping[str, LabModule], stranger_title: str
) -> frozenset[Expected]:
    """Return what an audit by the policy `isolated-house` must find with these faults on, besides what is met.

    What has to do with the outside is found where the router's flow export was listened to.
    """
    on = list(faults)
    hidden = {fault.point for fault in on if fault.hides_its_point}
    expected: set[Expected] = set()
    for fault in on:
        if fault.point in hidden and not fault.hides_its_point:
            continue
        title = fault.point or stranger_title
        expected.update(Expected(title, rule, setting, outcome) for rule, setting, outcome in fault.found)
        if fault.point is not None and fault.loses:
            expected.update(
                Expected(title, rule, setting, "unverified")
                for rule, setting in checks_of(modules[fault.point])
                if setting.startswith(fault.loses)
            )
    return frozenset(expected)


def hazard_findings(
    faults: Iterable[Fault], modules: Mapping[str, LabModule], wiring: Mapping[str, Wiring]
) -> frozenset[Expected]:
    """Return what an audit must find of outputs that feed what must not come on by itself, besides what is met."""
    on = list(faults)
    expected: set[Expected] = set()
    for point, wired in wiring.items():
        here = [fault for fault in on if fault.point == point]
        module = modules[point]
        outputs = sum(name.startswith("output.") and name.endswith(".on") for name in module.truth)
        for number in wired.hazards(outputs):
            setting = f"output.{number}.at_power_up"
            truth = {**module.truth, **{name: value for fault in here for name, value in fault.twist.truth.items()}}
            if any(fault.loses and setting.startswith(fault.loses) for fault in here):
                expected.add(Expected(point, "hazard-stays-off", setting, "unverified"))
            elif truth[setting] != "off":
                expected.add(Expected(point, "hazard-stays-off", setting, "broken"))
    return frozenset(expected)


def checks_of(module: LabModule) -> list[tuple[str, str]]:
    """Return each rule of the policy with each setting of a module that it looks at."""
    return [
        (rule.id, setting)
        for rule in policy_of_the_house().rules
        for requirement in rule.requirements
        for setting in module.truth
        if fnmatchcase(setting, requirement.setting) and _is_asked_for(requirement, setting, module)
    ]


@cache
def policy_of_the_house() -> Policy:
    """Return the policy that the house is audited by."""
    return load_policy(POLICY, Path())


def _is_asked_for(requirement: Requirement, setting: str, module: LabModule) -> bool:
    """What the plan does not speak of is not asked for, where the rule lets it be silent."""
    return not requirement.is_planned or requirement.unplanned != "skip" or setting in module.plan
