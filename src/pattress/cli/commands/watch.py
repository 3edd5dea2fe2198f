"""`pattress watch` and `pattress encounters`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.help_text import Commands
from pattress.cli.options import AsJson, SiteFolder, load, moment, now, run, store_path
from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, give, give_json, leave, style, tell
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pattress.egress.whereabouts import Owner
    from pattress.model.encounter import Alert, Told
    from pattress.model.site import Site

encounters = typer.Typer(cls=Commands, help="What devices had to do with the outside.", invoke_without_command=True)


def watch(site: SiteFolder = Path()) -> None:
    """Listen to the router's flow export, its log and the resolver's; tell at once when a device reaches the outside.

    Runs until it is stopped with Ctrl-C or SIGTERM. Messages go to stdout, all else to stderr.

    Example: pattress watch --site ~/house
    """
    loaded = load(site)
    if not loaded.watching.sources:
        raise UsageError(
            "the site names no source that tells of the way to the outside",
            where=str(loaded.folder / "site.toml"),
            next_step="Add `[watch]` and a `[[watch.source]]`; docs/watching.md explains what to put where.",
        )
    run(_watched(loaded))


@encounters.callback()
def listed(
    context: typer.Context,
    site: SiteFolder = Path(),
    device: Annotated[
        str | None, typer.Option("--device", help="Only those of a point, MAC, serial, announced name or address.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", metavar="WHEN", help="Only later ones; the last 7 days if not given.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Show what devices had to do with the outside, and how well the sources were heard.

    Example: pattress encounters --site ~/house --device hall-lights --since 2026-03-01
    """
    from datetime import timedelta

    from pattress.daemon.records import recorded
    from pattress.report.encounters import encounters_document, encounters_text, hearings_text

    if context.invoked_subcommand is not None:
        return
    loaded = load(site)
    begin = now() - timedelta(days=7) if since is None else moment(since, where="pattress encounters --since")
    found = run(recorded(loaded, store_path(loaded), begin, device))
    if json:
        give_json(encounters_document(found.encounters, found.hearings, found.title_of))
    else:
        give(encounters_text(found.encounters, found.title_of, style()))
        give(hearings_text(found.hearings, style()))
    is_heard = any(one.heard for one in found.hearings)
    if not is_heard:
        tell("`pattress watch` listens, as a service that is always on; `pattress doctor` tells what it is kept from.")
    leave(BROKEN if found.encounters else ALL_MET if is_heard else UNVERIFIED)


@encounters.command()
def replay(
    file: Annotated[Path, typer.Argument(help="A capture of flow export (pcap), saved datagrams, or a log file.")],
    site: SiteFolder = Path(),
    source: Annotated[
        str | None, typer.Option("--source", help="The source of site.toml that a log file is of.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Judge a capture or a log as if it came now, and show what would have been told. Keeps nothing.

    Example: pattress encounters replay router.pcap --site ~/house
    """
    from pattress.daemon.replay import replayed
    from pattress.report.encounters import encounters_document, encounters_text, hearings_text

    loaded = load(site)
    found = run(replayed(loaded, store_path(loaded), file, source, clock=now))
    for note in found.notes:
        tell(note)
    if json:
        give_json(encounters_document(found.encounters, found.hearings, found.title_of))
    else:
        words = Words()
        for alert in found.alerts:
            words.alert(alert, found.owner_of(alert.told.device), says_off=False)
        give(encounters_text(found.encounters, found.title_of, style()))
        give(hearings_text(found.hearings, style()))
    leave(BROKEN if found.encounters else ALL_MET if any(one.heard for one in found.hearings) else UNVERIFIED)


class Words:
    """Says on the terminal what is to be told, each message as soon as it is due."""

    def alert(self, alert: "Alert", owner: "Owner", *, says_off: bool) -> None:
        """Print one message."""
        from pattress.report.encounters import alert_text

        give(alert_text(alert, _title(owner), says_off=says_off, style=style()))

    def daily(self, due: "Sequence[tuple[Told, Owner]]") -> None:
        """Print what has come since it was last told."""
        from pattress.report.encounters import daily_text

        give(daily_text([(told, _title(owner)) for told, owner in due], style()))

    def note(self, text: str) -> None:
        """Print how the watching fares."""
        from pattress.report.visible import visible

        tell(visible(text))


def _title(owner: "Owner") -> str:
    return f"{owner.title} ({owner.room})" if owner.room else owner.title


async def _watched(site: "Site") -> None:
    import asyncio
    import signal

    from pattress.daemon.watch import Watch
    from pattress.store.store import Store

    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    async with Store.open(store_path(site)) as store:
        names = ", ".join(source.name for source in site.watching.sources)
        tell(f"Watching the way to the outside by {names}. Stop with Ctrl-C.")
        await Watch(site, store, Words(), now).run(stop)
