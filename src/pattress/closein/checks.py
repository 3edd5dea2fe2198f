"""The steps of one point, in their order: which there are for its kind and its plan, and which are still to be done.

What belongs here: that list. What does not: doing them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pattress.closein.channels import fed_channels
from pattress.model.closein import CloseIn, StepKind, StepResult
from pattress.model.errors import UsageError
from pattress.model.plan import Point
from pattress.model.profile import Profile
from pattress.model.vocabulary import Value
from pattress.report.planned import planned_steps

_HANDS: tuple[StepKind, ...] = ("input", "drive", "output", "radio", "heat", "power-cut")
# Steps that are not looked at each time anyway, by the beginning of the name of what they rest on.
_RESTS_ON: Mapping[str, tuple[StepKind, ...]] = {
    "kind": _HANDS, "class": _HANDS, "circuit": ("output", "heat"), "drives": ("drive", "output"),
    "settings": ("input", "power-cut"),
}  # fmt: skip
_EACH_TIME = ("found", "recognised", "settings", "fit", "outside", "sign-off")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: its name, and what to call it."""

    name: str
    title: str

    @property
    def kind(self) -> str:
        """The kind of step, without its channel."""
        return self.name.split(".", 1)[0]


def steps_of(profile: Profile, point: Point) -> list[Step]:
    """Return the steps of a point, in their order."""
    inputs = range(1, profile.channels.get("input", 0) + 1)
    return [
        Step(name="found", title="The module is on the network"),
        Step(name="recognised", title="It is of the planned kind, with its firmware"),
        Step(name="settings", title="Every setting is as policy and plan say"),
        Step(name="fit", title="It is fit for its circuit"),
        *(Step(name=f"input.{number}", title=f"The switch of input {number}") for number in inputs),
        *(
            Step(name=f"drive.{number}", title=f"What input {one.input} drives: {_target(one.channel, one.point)}")
            for number, one in enumerate(point.drives, 1)
        ),
        *(Step(name=one.step, title=f"{one.name} feeds {one.feeds}") for one in fed_channels(profile, point)),
        Step(name="radio", title="It can be heard with the plate on"),
        Step(name="heat", title="It stays cool enough under load"),
        Step(name="power-cut", title="It comes back after a power cut, as planned"),
        Step(name="outside", title="It was silent towards the outside"),
        Step(name="sign-off", title="A person agrees"),
    ]


def _target(channel: str, point: str | None) -> str:
    return channel if point is None else f"{channel} at {point}"


def to_do(steps: Sequence[Step], check: CloseIn, only: str | None) -> list[Step]:
    """Return the steps that are still to be done: never tried, or broken; with `only`, that one again.

    What asks nothing of the person is looked at each time: the module may be another by now, or set otherwise.

    Raises:
        UsageError: If there is no step of that name.
    """
    if only is not None:
        chosen = [one for one in steps if only in (one.name, one.kind)]
        if not chosen:
            names = ", ".join(one.name for one in steps)
            raise UsageError(
                f"there is no step {only!r}", where="pattress close-in --step", next_step=f"The steps are: {names}."
            )
        return chosen
    done = {one.step for one in check.results if one.outcome in ("met", "unverified", "skipped")}
    return [one for one in steps if one.name not in done or one.kind in _EACH_TIME]


def outdated(check: CloseIn, planned: Mapping[str, Value]) -> list[StepResult]:
    """Return the results that are to be done again as the plan was changed since: `planned` is that of now.

    They rest on what was changed, or are of a step that the plan has again.
    """
    names = check.planned.keys() | planned.keys()
    changed = {one.split(".")[0] for one in names if check.planned.get(one) != planned.get(one)}
    kinds = {kind for part in changed for kind in _RESTS_ON.get(part, ())}
    now, before = planned_steps(planned), planned_steps(check.planned)
    return [
        one
        for one in check.results
        if one.step in now and (one.step not in before or (one.kind in kinds and one.outcome in ("met", "unverified")))
    ]


def dropped(check: CloseIn, planned: Mapping[str, Value]) -> list[StepResult]:
    """Return the broken results of steps that the plan of now has no more: nobody can do those again."""
    now = planned_steps(planned)
    return [one for one in check.results if one.step not in now and one.outcome == "broken"]
