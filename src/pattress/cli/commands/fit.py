"""`pattress fit`: whether planned modules suit their circuits, before anything is bought or wired."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load, now, point_named
from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, give, give_json, leave, status_of, style
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from pattress.model.plan import Point
    from pattress.model.site import Site
    from pattress.model.tables import Tables


def fit(
    points: Annotated[list[str] | None, typer.Argument(metavar="[POINT]...", help="The points to judge.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="Every point of the plan.")] = False,
    which: Annotated[
        bool,
        typer.Option(
            "--which", help="Rank the kinds in the site's and the shipped profiles that would suit one point."
        ),
    ] = False,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Judge planned modules against their circuits: ratings, supply, box, run, dimming. Asks no device anything.

    Example: pattress fit hall-lights --site ~/house
    """
    names = list(dict.fromkeys(points or ()))
    if bool(names) == everything or (which and len(names) != 1):
        raise UsageError(
            "name one point with --which" if which else "name points, or give --all",
            where="pattress fit",
            next_step="For example: pattress fit hall-lights --which, or pattress fit --all.",
        )
    loaded = load(site)
    chosen = (
        loaded.plan.points if everything else tuple(point_named(loaded, name, where="pattress fit") for name in names)
    )
    if which:
        _rank(loaded, _tables(loaded), chosen[0], json=json)
    else:
        _judge(loaded, _tables(loaded), chosen, is_brief=everything, json=json)


def _judge(site: "Site", tables: "Tables", points: "tuple[Point, ...]", *, is_brief: bool, json: bool) -> None:
    from pattress.policy.fitness import judge_points
    from pattress.report.fit import fit_document, fit_text

    judged = judge_points(site, points, today=now().astimezone().date())
    if json:
        give_json(fit_document(site.name, tables, judged))
    else:
        give(fit_text(site.name, tables, judged, style(), is_brief=is_brief))
    leave(status_of(one.outcome for one in judged))


def _rank(site: "Site", tables: "Tables", point: "Point", *, json: bool) -> None:
    """Leave with 0 where a kind suits, with 3 where one might, with 1 where none does."""
    from pattress.policy.fit_which import whatever_kind, which
    from pattress.report.fit import NOTHING_PLANNED, which_document, which_text

    if point.circuit is None:
        raise UsageError(
            f"of {point.name} {NOTHING_PLANNED}",
            where="pattress fit --which",
            next_step="Plan its circuit and its loads first.",
        )
    candidates = which(point, site.plan, site.profiles, tables)
    planned = next(profile for profile in site.profiles if profile.id == point.kind)
    common = whatever_kind(point, planned, site.plan, tables)
    if json:
        give_json(which_document(site.name, tables, point, candidates, common))
    else:
        give(which_text(site.name, tables, point, candidates, common, style()))
    best = {one.outcome for one in candidates}
    leave(ALL_MET if "met" in best else UNVERIFIED if "unverified" in best else BROKEN)


def _tables(site: "Site") -> "Tables":
    if site.tables is None:
        raise AssertionError("a site that was made from its files has tables")
    return site.tables
