"""One visit to the emulated house: its site written with a circuit, the watching, and a person at one box."""

import asyncio
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from closein.boxes import Box
from closein.person import Habit, Person
from closein.terminal import at_terminal
from closein.transcript import Ended
from pattress.cli.options import load
from pattress.daemon.emulated import watched
from pattress.egress.whereabouts import Owner
from pattress.lab.circuits import larkspur_wiring
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import LISTEN_S, write_site
from pattress.lab.world import World
from pattress.model.closein import CloseIn
from pattress.model.encounter import Alert
from pattress.store.store import Store

AT_THE_BOX = Path(__file__).with_name("at_the_box.py")
HEARD_S = 1.5  # modules on loopback are heard within a second
VISIT_S = 240  # real; the longest takes a quarter of it on a quiet machine
WAIT_FOR_OTHER_HOUSE_S = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What is other at this visit than with a right module and a person who does everything right."""

    box: Box
    spoil: Callable[[World], None] = lambda world: None
    habits: tuple[tuple[str, Habit], ...] = ()
    contacts: dict[int, str] = field(default_factory=dict)
    leaves_out: tuple[str, ...] = ()
    has_automation: bool = True
    faults: tuple[str, ...] = ()
    unpowered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a visit ended: what the person read, the exit status, and what the database keeps."""

    status: int
    ended: list[Ended]
    prompts: list[str]
    text: str
    check: CloseIn

    @property
    def outcomes(self) -> dict[str, str]:
        """The outcome of each step, as it was read."""
        return {one.step: one.outcome for one in self.ended}

    @property
    def last(self) -> Ended:
        """The step that ended last."""
        return self.ended[-1]


class Quiet:
    """Is told of what goes outside, and leaves it at that."""

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        pass

    def daily(self, due: object) -> None:
        pass

    def note(self, text: str) -> None:
        pass


async def visited(visit: Visit, folder: Path) -> Outcome:
    """Do a close-in check at a box, through a terminal."""
    box = visit.box
    async with EmulatedHouse(
        faults=visit.faults,
        delay_s=(0, 0.02),
        wait_s=WAIT_FOR_OTHER_HOUSE_S,
        unpowered=visit.unpowered,
        wiring={**larkspur_wiring(), box.point: box.planned},
    ) as house:
        house.clock.share(folder / "clock.json")
        site_folder = write_site(house, folder / "site", today=datetime.now(UTC).astimezone().date(), is_watched=True)
        visit.spoil(box.wire(house, has_automation=visit.has_automation))
        site_file = site_folder / "site.toml"
        text = site_file.read_text(encoding="utf-8").replace(f"listen_s = {LISTEN_S}", f"listen_s = {HEARD_S}")
        site_file.write_text(text, encoding="utf-8")
        site = load(site_folder)
        async with (
            Store.open(site_folder / site.store_file) as store,
            watched(house, site, store, Quiet(), house.clock.now),
        ):
            words = [sys.executable, str(AT_THE_BOX), str(folder / "clock.json"), "close-in", box.point]
            words += ["--who", "A. Fitter", "--site", str(site_folder)]
            async with at_terminal(words, {"TERM": "xterm"}) as terminal:
                fitted = {
                    int(name.split(".")[1]): str(value)
                    for name, value in house.modules[box.point].truth.items()
                    if re.fullmatch(r"input\.\d+\.contact", name)
                }
                contacts = {**fitted, **visit.contacts}
                person = Person(house, box.point, terminal, list(visit.habits), contacts, visit.leaves_out)
                try:
                    async with asyncio.timeout(VISIT_S):
                        status = await person.work()
                except TimeoutError:
                    raise AssertionError(f"not done within {VISIT_S} s:\n{person.transcript.text}") from None
            checks = await store.close_ins(box.point)
        return Outcome(
            status=status, ended=person.ended, prompts=person.prompts, text=person.transcript.text, check=checks[-1]
        )
