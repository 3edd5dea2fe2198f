"""`pattress demo`: the main job on an emulated house."""

from pathlib import Path
from typing import TYPE_CHECKING

from pattress.cli.commands.audit import audit_site, result_of, show
from pattress.cli.commands.watch import Words
from pattress.cli.options import AsJson, load, now, run, store_path
from pattress.cli.output import tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pattress.audit.run import Audit
    from pattress.egress.whereabouts import Owner
    from pattress.model.encounter import Alert, Told
    from pattress.model.site import Site

NEXT = """\
That was an emulated house on this machine: invented makers, real mDNS, MQTT, HTTP and flow export, and faults
planted by us. The day before, which its router is said to have told of, is invented, too.
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
    site, result = run(_demo(is_quiet=json))
    show(result_of(site, result), as_json=json)
    if not json:
        tell("")
        tell(NEXT)


async def _demo(*, is_quiet: bool) -> "tuple[Site, Audit]":
    from tempfile import TemporaryDirectory

    from pattress.cli.emulated import watched
    from pattress.lab.circuits import larkspur_wiring
    from pattress.lab.run import EmulatedHouse
    from pattress.lab.site import write_site
    from pattress.store.store import Store

    with TemporaryDirectory(prefix="pattress-demo-") as folder:
        async with EmulatedHouse(wait_s=10, wiring=larkspur_wiring()) as house:
            site = load(write_site(house, Path(folder), today=now().astimezone().date(), is_watched=True))
            async with (
                Store.open(store_path(site)) as store,
                watched(house, site, store, _AtOnce(is_quiet=is_quiet), now),
            ):
                return site, await audit_site(site)


class _AtOnce(Words):
    """Says what is told at once, or where it is quiet, nothing but how the watching fares."""

    def __init__(self, *, is_quiet: bool) -> None:
        self._is_quiet = is_quiet

    def alert(self, alert: "Alert", owner: "Owner", *, says_off: bool) -> None:
        """Print one message, and a line between it and what follows."""
        if not self._is_quiet:
            super().alert(alert, owner, says_off=says_off)
            tell("")

    def daily(self, due: "Sequence[tuple[Told, Owner]]") -> None:
        """Leave the message of the day: the report of the audit follows."""
