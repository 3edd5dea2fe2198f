"""Which kinds of module would suit a planned point, the best first, and why the others would not.

What belongs here: ranking kinds. What does not: judging one (`fitness`).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pattress.model.finding import Outcome
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.tables import Tables
from pattress.model.vocabulary import generic_name
from pattress.policy.coverage import reports
from pattress.policy.fit_case import Fit, worst
from pattress.policy.fit_rules import RULES_OF_KINDS
from pattress.policy.fitness import fits

_ORDER: tuple[Outcome, ...] = ("met", "unverified", "broken")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One kind at a planned point. `lacks` says which channels or planned settings it has not; then it never suits."""

    profile: Profile
    fits: tuple[Fit, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """`met` where it suits, `unverified` where something is not known, `broken` where it does not suit."""
        return "broken" if self.lacks else worst(self.fits)

    def fits_of(self, outcome: Outcome) -> tuple[Fit, ...]:
        """Return the questions that ended so."""
        return tuple(fit for fit in self.fits if fit.outcome == outcome)

    @property
    def spare_channels(self) -> int:
        """How many channels would be left without a load."""
        used = {fit.channel for fit in self.fits if fit.channel in self.profile.load_channels}
        return len(self.profile.load_channels) - len(used)


def which(point: Point, plan: Plan, profiles: Iterable[Profile], tables: Tables) -> list[Candidate]:
    """Return every kind at a planned point: those that suit first, then by what is unknown, then by what is wrong.

    Only questions that another kind may answer otherwise are asked; `whatever_kind` has the rest. Of kinds that are
    alike, the one with fewer channels to spare comes first, then the order of ids.
    """
    return sorted((_candidate(point, profile, plan, tables) for profile in profiles), key=_key)


def whatever_kind(point: Point, profile: Profile, plan: Plan, tables: Tables) -> list[Fit]:
    """Return the questions about the place and the plan alone, whose outcome no other kind would change."""
    return [fit for fit in fits(point, profile, plan, tables) if fit.rule.id not in RULES_OF_KINDS]


def _candidate(point: Point, profile: Profile, plan: Plan, tables: Tables) -> Candidate:
    loads = point.circuit.loads if point.circuit is not None else ()
    missing = [
        channel for channel in dict.fromkeys(load.channel for load in loads) if channel not in profile.load_channels
    ]
    if missing:
        return Candidate(profile=profile, lacks=(f"it has no {' and no '.join(missing)}",))
    judged = tuple(fit for fit in fits(point, profile, plan, tables) if fit.rule.id in RULES_OF_KINDS)
    return Candidate(profile=profile, fits=judged, lacks=tuple(_lacks(point, profile)))


def _lacks(point: Point, profile: Profile) -> Iterator[str]:
    inputs = {drive.input for drive in point.drives}
    inputs |= {int(name.split(".")[1]) for name in point.settings if name.startswith("input.")}
    count = profile.channels.get("input", 0)
    if inputs and max(inputs) > count:
        yield f"it has {count or 'no'} input{'' if count == 1 else 's'}, and {max(inputs)} are planned"
    unsaid = [
        name
        for name in sorted(point.settings)
        if not reports(profile, name) and not name.startswith(("input.", "firmware."))
    ]
    if unsaid:
        yield f"it does not report {', '.join(dict.fromkeys(map(generic_name, unsaid)))}, which the plan sets"


def _key(candidate: Candidate) -> tuple[int, bool, int, int, int, str]:
    return (
        _ORDER.index(candidate.outcome),
        not candidate.fits,
        len(candidate.lacks) + len(candidate.fits_of("broken")),
        len(candidate.fits_of("unverified")),
        candidate.spare_channels,
        candidate.profile.id,
    )
