"""`pattress discover`."""

from pathlib import Path

from pattress.cli.options import AsJson, ListenSeconds, SiteFolder, load, now, run
from pattress.cli.output import UNVERIFIED, give, give_json, leave, style, tell


def discover(site: SiteFolder = Path(), listen: ListenSeconds = None, json: AsJson = False) -> None:
    """Listen for devices and show each with the evidence for it. Asks no device anything.

    Example: pattress discover --site ~/house --listen 10
    """
    from pattress.audit.discover import discover_devices
    from pattress.report.devices import discovered_text
    from pattress.report.document import device_entry, discover_document

    loaded = load(site)
    tell(f"Listening for {listen or loaded.limits.listen_s:g} s ...")
    found = run(discover_devices(loaded, clock=now, listen_s=listen))
    if json:
        entries = [device_entry(one.device, point=one.point, other=one.other) for one in found.devices]
        give_json(discover_document(entries, found.conflicts, found.sources))
    else:
        give(discovered_text(found.devices, found.conflicts, found.sources, now=now(), style=style()))
    if any(report.state in ("failed", "refused") for report in found.sources):
        leave(UNVERIFIED)
