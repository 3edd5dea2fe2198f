"""`pattress sign-off` and `pattress waive`: what a person agrees to."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, ListenSeconds, SiteFolder, load, now, run, store_path
from pattress.cli.output import ALL_MET, UNVERIFIED, TerminalProgress, give, give_json, leave, tell
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from pattress.audit.run import Audit
    from pattress.audit.sign_off import Agreement
    from pattress.model.site import Site

Who = Annotated[str, typer.Option("--who", help="Who agrees: a name that others will know.")]


def sign_off(
    device: Annotated[str | None, typer.Argument(metavar="POINT|DEVICE", help="What to sign off.")] = None,
    who: Who = "",
    why: Annotated[str, typer.Option("--why", help="Why: fitted, checked after a change, ...")] = "",
    everything: Annotated[bool, typer.Option("--all", help="Every device that stands at a point.")] = False,
    site: SiteFolder = Path(),
    listen: ListenSeconds = None,
    json: AsJson = False,
) -> None:
    """Audit the site, and keep a device's reading as the agreed one: from then on every change of it is drift.

    Example: pattress sign-off hall-lights --who "A. Fitter" --why "fitted and tried" --site ~/house
    """
    if (device is None) != everything:
        raise _usage("pattress sign-off", "name one point or device, or give --all")
    if not who.strip() or not why.strip():
        raise _usage("pattress sign-off", "give --who and --why: an agreement without them is worth nothing")
    loaded = load(site)
    audit, agreed = run(_sign(loaded, device, who.strip(), why.strip(), listen))
    if json:
        from pattress.report.document import sign_off_document

        give_json(sign_off_document(agreed.signed, agreed.unread))
    else:
        for one in agreed.signed:
            give(f"{one.point or one.device}: {len(one.values)} settings signed off by {one.who}")
        for title, reason in agreed.unread:
            give(f"{title}: not signed off, {reason}")
    points = {one.point for one in agreed.signed}
    open_ones = [one for one in audit.findings if one.outcome != "met" and one.subject.point in points]
    if open_ones:
        tell(f"Signed off with {len(open_ones)} findings there that are not met; `pattress audit` shows them.")
    leave(UNVERIFIED if agreed.unread else ALL_MET)


def waive(
    rule: Annotated[str, typer.Argument(help="The id of the rule.")],
    reason: Annotated[str, typer.Option("--reason", help="Why the exception is accepted.")],
    who: Annotated[str, typer.Option("--who", help="Who accepts it.")],
    until: Annotated[datetime, typer.Option("--until", formats=["%Y-%m-%d"], help="Last day, at most a year ahead.")],
    point: Annotated[str | None, typer.Option("--point", help="At this point.")] = None,
    device: Annotated[str | None, typer.Option("--device", help="Of this device, where it has no point.")] = None,
    safe_because: Annotated[
        str | None, typer.Option("--safe-because", help="What makes it safe; needed for a rule of severity danger.")
    ] = None,
    site: SiteFolder = Path(),
) -> None:
    """Accept an exception to one rule, for a time: adds it to waivers.toml once the whole file is right.

    Example: pattress waive signal-strong --point cellar --reason "thick wall" --who "A. Fitter" --until 2027-03-01
    """
    from pattress.model.rules import Waiver
    from pattress.site.waiving import add_waiver

    load(site)
    waiver = Waiver(
        rule=rule, point=point, device=device, reason=reason, who=who, until=until.date(), safe_because=safe_because
    )
    path = add_waiver(site, waiver, lambda tried: load(site, waivers_file=tried))
    give(f"{path}: {rule} at {point or device} is accepted until {waiver.until.isoformat()}")


async def _sign(
    site: "Site", words: str | None, who: str, why: str, listen_s: float | None
) -> "tuple[Audit, Agreement]":
    from pattress.audit.run import run_audit
    from pattress.audit.sign_off import agreement
    from pattress.store.store import Store

    progress = TerminalProgress()
    try:
        async with Store.open(store_path(site)) as store:
            audit = await run_audit(site, store, clock=now, listen_s=listen_s, progress=progress)
            agreed = agreement(site, audit, words, who=who, why=why, at=now())
            await store.sign_off(agreed.signed)
            return audit, agreed
    finally:
        progress.end()


def _usage(where: str, what: str) -> UsageError:
    return UsageError(what, where=where, next_step=f"See `{where} --help`.")
