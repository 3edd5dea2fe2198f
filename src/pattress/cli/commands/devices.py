"""`pattress devices` and `pattress history`: what the store knows."""

from pathlib import Path
from typing import Annotated

import typer

from pattress.cli.options import AsJson, DeviceWords, SiteFolder, load, run, store_path
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
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Show what each setting of a device was, from when until when.

    Example: pattress history hall-lights --setting input.1.action --site ~/house
    """
    from pattress.audit.kept import device_history
    from pattress.report.devices import history_text
    from pattress.report.document import history_document

    loaded = load(site)
    known, spans = run(device_history(loaded, store_path(loaded), device, setting))
    if json:
        give_json(history_document(known, spans))
    else:
        give(history_text(known, spans))
