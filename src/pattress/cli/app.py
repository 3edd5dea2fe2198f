"""The list of commands."""

from typing import Annotated

import typer

from pattress import __version__
from pattress.cli.commands import (
    agree,
    audit,
    certificate,
    circuit,
    close_in,
    compare,
    demo,
    devices,
    discover,
    doctor,
    fit,
    policy,
    read,
    settings,
    site,
    store,
    watch,
)
from pattress.cli.help_text import Commands, help_width

EPILOG = (
    "Exit status: 0 all met, 1 something broken, 2 wrong usage or files, 3 nothing broken but something unverified."
)

application = typer.Typer(
    name="pattress",
    cls=Commands,
    context_settings={"terminal_width": help_width()},
    help="Check that the Wi-Fi modules behind a house's wall plates stand as intended. Reads only; never switches.",
    epilog=EPILOG,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # plain help: instant, and the same in every terminal
    pretty_exceptions_enable=False,
)


def _show_version(is_wanted: bool) -> None:
    if is_wanted:
        typer.echo(f"pattress {__version__}")
        raise typer.Exit


@application.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    pass


application.command("demo")(demo.demo)
application.command("init")(site.init)
application.command("check")(site.check)
application.command("discover")(discover.discover)
application.command("read")(read.read)
application.command("audit")(audit.audit)
application.command("fit")(fit.fit)
application.command("close-in")(close_in.close_in)
application.command("watch")(watch.watch)
application.add_typer(watch.encounters, name="encounters")
application.command("devices")(devices.devices)
application.command("history")(devices.history)
application.command("compare")(compare.compare)
application.command("sign-off")(agree.sign_off)
application.command("waive")(agree.waive)
application.add_typer(circuit.circuit, name="circuit")
application.command("certificate")(certificate.certificate)
application.command("doctor")(doctor.doctor)
application.command("settings")(settings.settings)
application.add_typer(policy.policy, name="policy")
application.add_typer(store.store, name="store")
