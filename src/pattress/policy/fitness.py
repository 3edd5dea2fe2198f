"""Fitness: whether a planned module suits its circuit, judged before anything is bought or wired.

What belongs here: which questions are asked of a point, and their outcomes as findings. What does not: the questions
(`fit_place`, `fit_channels`, `fit_plan`), the formulas (`circuit`), and the figures, which are tables.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.site import Site
from pattress.model.tables import Tables
from pattress.policy.fit_case import Case, Fit, worst
from pattress.policy.fit_channels import channel_fits
from pattress.policy.fit_place import place_fits
from pattress.policy.fit_plan import hazard_fits, room_fits, switch_fits
from pattress.policy.waive import waive


@dataclass(frozen=True, slots=True, kw_only=True)
class PointFitness:
    """A planned point with its outcomes. `findings` are those of `fits`, in their order, with waivers applied."""

    point: Point
    fits: tuple[Fit, ...]
    findings: tuple[Finding, ...]

    @property
    def outcome(self) -> Outcome:
        """Broken before unverified before met; a point of whose wiring nothing is planned could not be checked."""
        return worst(self.findings) if self.findings else "unverified"


def judge_points(site: Site, points: Sequence[Point], *, today: date) -> list[PointFitness]:
    """Return the fitness of points as planned, with the site's waivers applied, in the order of `points`."""
    judged = []
    for point in points:
        profile = site.profile(point.kind)
        found = fits(point, profile, site.plan, site.tables) if profile is not None and site.tables is not None else []
        subject = Subject(point=point.name, room=point.room, kind=point.kind)
        own = [waiver for waiver in site.waivers if waiver.point == point.name]
        findings = waive([fit.finding(subject) for fit in found], own, today=today, plan=site.plan)
        # What waive adds is about the waivers themselves, which the audit tells.
        judged.append(PointFitness(point=point, fits=tuple(found), findings=tuple(findings[: len(found)])))
    return judged


def fits(point: Point, profile: Profile, plan: Plan, tables: Tables) -> list[Fit]:
    """Return the outcome of every question about a planned point; none where the plan says nothing of its wiring.

    `profile` is the kind to judge, which need not be the planned one. What the plan or the data sheet does not say is
    unverified, never met.
    """
    return list(_fits(point, profile, plan, tables))


def fitness(
    point: Point, profile: Profile, plan: Plan, tables: Tables, *, subject: Subject | None = None
) -> list[Finding]:
    """Return `fits` as findings about the point; `subject` says more of it, such as the device that stands there."""
    about = subject or Subject(point=point.name, room=point.room, kind=profile.id)
    return [fit.finding(about) for fit in _fits(point, profile, plan, tables)]


def fitness_of(site: Site, point: Point, *, subject: Subject | None = None) -> list[Finding]:
    """Return the fitness of the kind that a site plans for a point; none where it plans nothing of its wiring."""
    profile = site.profile(point.kind)
    if profile is None or site.tables is None:
        return []
    return fitness(point, profile, site.plan, site.tables, subject=subject)


def _fits(point: Point, profile: Profile, plan: Plan, tables: Tables) -> Iterator[Fit]:
    if point.circuit is not None:
        case = Case(point=point, circuit=point.circuit, profile=profile, tables=tables)
        yield from place_fits(case)
        yield from channel_fits(case)
        yield from hazard_fits(point, profile)
        yield from room_fits(point, plan)
    if point.circuit is not None or point.drives:
        yield from switch_fits(point, plan)
