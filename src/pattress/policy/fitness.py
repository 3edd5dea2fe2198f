"""Fitness: whether a planned module suits its circuit, judged before anything is bought or wired.

What belongs here: which questions are asked of a point, and their outcomes as findings. What does not: the questions
(`fit_place`, `fit_channels`, `fit_plan`), the formulas (`circuit`), and the figures, which are tables.
"""

from collections.abc import Iterator

from pattress.model.finding import Finding, Subject
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.site import Site
from pattress.model.tables import Tables
from pattress.policy.fit_case import Case, Fit
from pattress.policy.fit_channels import channel_fits
from pattress.policy.fit_place import place_fits
from pattress.policy.fit_plan import hazard_fits, room_fits, switch_fits


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
