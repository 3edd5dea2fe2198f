"""`pattress demo`: the main job on an emulated house."""

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from pattress.cli.commands.audit import audit_site, result_of, show
from pattress.cli.options import AsJson, load, now, run
from pattress.cli.output import tell

if TYPE_CHECKING:
    from pattress.audit.run import Audit
    from pattress.model.site import Site

NEXT = """\
That was an emulated house on this machine: invented makers, real mDNS, MQTT and HTTP, and faults planted by us.
Next:
  pattress settings            the names that rules, plans and profiles use
  pattress init ~/house        a starter site of your own, every line explained
  pattress discover            what is on your network, and why it is believed to be there
The README tells how to go on from there.
"""


def demo(json: AsJson = False) -> None:
    """Start an emulated house with planted faults, audit it, print the report, and clean up.

    Example: pattress demo
    """
    tell("Starting an emulated house on loopback ...")
    site, result = run(_demo())
    show(result_of(site, result), as_json=json)
    if not json:
        tell("")
        tell(NEXT)


async def _demo() -> "tuple[Site, Audit]":
    from pattress.lab.run import EmulatedHouse
    from pattress.lab.site import write_site

    with tempfile.TemporaryDirectory(prefix="pattress-demo-") as folder:
        async with EmulatedHouse(wait_s=10) as house:
            site = load(write_site(house, Path(folder), today=now().astimezone().date()))
            return site, await audit_site(site)
