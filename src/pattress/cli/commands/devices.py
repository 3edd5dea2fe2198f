"""`pattress devices` and `pattress history`: what the store knows."""

from pathlib import Path
from typing import Annotated

import typer

from pattress.cli.options import AsJson, DeviceWords, SiteFolder, load, moment, run, store_path
from pattress.cli.output import give, give_json, style


def devices(site: SiteFolder = Path(), json: AsJson = False) -> None:
    """List every device that was ever seen, with its point and when it was last read.

    Example: pattress devices --site ~/house
    """
    from pattress.audit.kept import known_devices
    from pattress.report.devices import devices_text
    from pattress.report.document import devices_document

    loaded = load(site)
    known = run(known_devices(loaded, store_path(loaded)))
    if json:
        give_json(devices_document(known))
    else:
        give(devices_text(known, style()))


def history(
    device: DeviceWords,
    setting: Annotated[str | None, typer.Option("--setting", help="Only this setting.")] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="Only what it was at this date or date and time.")
    ] = None,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Show what each setting of a device was, from when until when.

    The history of a point goes on when its module is replaced. WHEN is like 2026-03-01 (the beginning of that day) or
    2026-03-01T07:30, in local time if it names no other.

    Example: pattress history hall-lights --setting input.1.action --at 2026-03-01 --site ~/house
    """
    from pattress.audit.kept import device_history
    from pattress.report.devices import history_text
    from pattress.report.document import history_document

    loaded = load(site)
    when = None if at is None else moment(at, where="pattress history --at")
    known, spans = run(device_history(loaded, store_path(loaded), device, setting, when, where="pattress history"))
    if json:
        give_json(history_document(known, spans))
    else:
        give(history_text(known, spans))
