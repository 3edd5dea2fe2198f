"""`pattress close-in`."""

import sys
from contextlib import nullcontext, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load, point_named, run, store_path
from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, give, give_json, leave, style
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pattress.closein.runner import Order
    from pattress.model.closein import CloseIn
    from pattress.model.site import Site

Points = Annotated[list[str], typer.Argument(metavar="POINT...", help="The points, in the order in which you walk.")]


def close_in(
    points: Points,
    who: Annotated[str, typer.Option("--who", help="Who checks: a name that others will know.")] = "",
    step: Annotated[str | None, typer.Option("--step", help="Do this one step again: input.1, heat, ...")] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Begin anew, also where a check was stopped half-way.")] = False,
    heat_minutes: Annotated[
        float | None,
        typer.Option("--heat-minutes", min=2, max=120, help="Watch the heat for so long; 8 if not given."),
    ] = None,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Check a freshly fitted module before its wall is closed: you operate, the program watches and keeps all of it.

    The program switches nothing. It asks you to, and each danger is named where it is. A check that was stopped is
    taken up again by the same command.

    Example: pattress close-in hall-lights --who "A. Fitter" --site ~/house
    """
    from pattress.closein.pace import Pace
    from pattress.closein.runner import Order, with_heat
    from pattress.report.closein import check_text, close_in_document

    if not who.strip():
        raise UsageError(
            "nobody is named",
            where="pattress close-in",
            next_step='Give --who "A. Fitter": the record says who checked.',
        )
    loaded = load(site)
    order = Order(
        points=[point_named(loaded, name, where="pattress close-in") for name in dict.fromkeys(points)],
        who=who.strip(), step=step, is_anew=anew, pace=with_heat(Pace(), heat_minutes),
    )  # fmt: skip
    with redirect_stdout(sys.stderr) if json else nullcontext():  # the talk is not the result
        checks = run(_checked(loaded, order))
    if json:
        give_json(close_in_document(checks))
    else:
        give("\n" + check_text(checks, style()))
    leave(status_of_checks(checks))


def status_of_checks(checks: "Sequence[CloseIn]") -> int:
    """Return the exit status: broken, else not all of it shown or agreed to, else all met."""
    from pattress.report.planned import steps_not_done

    outcomes = {result.outcome for check in checks for result in check.results}
    if "broken" in outcomes:
        return BROKEN
    is_whole = all(check.is_signed_off and not steps_not_done(check) for check in checks) and outcomes <= {"met"}
    return ALL_MET if is_whole else UNVERIFIED


async def _checked(site: "Site", order: "Order") -> "list[CloseIn]":
    from pattress.cli import options
    from pattress.cli.terminal_talk import TerminalTalk
    from pattress.closein.runner import CloseInRunner
    from pattress.policy.fitness import fitness_of
    from pattress.store.store import Store

    async with TerminalTalk() as talk, Store.open(store_path(site)) as store:
        return await CloseInRunner(site, store, talk, options.now, lambda point: fitness_of(site, point)).run(order)
