"""`pattress read`."""

from pathlib import Path

from pattress.cli.options import AsJson, DeviceWords, ListenSeconds, SiteFolder, load, now, run, store_path
from pattress.cli.output import UNVERIFIED, give, give_json, leave


def read(device: DeviceWords, site: SiteFolder = Path(), listen: ListenSeconds = None, json: AsJson = False) -> None:
    """Read one device now and show every setting with where it came from. Keeps nothing.

    Example: pattress read hall-lights --site ~/house
    """
    from pattress.audit.discover import read_device
    from pattress.model.reading import Snapshot
    from pattress.report.devices import reading_text
    from pattress.report.document import reading_document

    loaded = load(site)
    reading, point = run(read_device(loaded, device, store_file=store_path(loaded), clock=now, listen_s=listen))
    if json:
        give_json(reading_document(reading, point=point))
    else:
        give(reading_text(reading, point=point))
    if not isinstance(reading, Snapshot) or reading.errors:
        leave(UNVERIFIED)
