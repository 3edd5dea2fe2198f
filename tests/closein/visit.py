"""One visit to the emulated house: its site written with circuits, the watching, and a person at one box or more."""

import asyncio
import re
import sys
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from closein.boxes import Box
from closein.person import Habit, Person, stop
from closein.terminal import at_terminal
from closein.transcript import Ended
from pattress.cli.emulated import watched
from pattress.cli.options import load
from pattress.egress.whereabouts import Owner
from pattress.lab.circuits import larkspur_wiring
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import LISTEN_S, write_site
from pattress.lab.world import World
from pattress.model.closein import CloseIn
from pattress.model.encounter import Alert, Hearing
from pattress.model.site import Site
from pattress.store.store import Store

AT_THE_BOX = Path(__file__).with_name("at_the_box.py")
HEARD_S = 1.5  # modules on loopback are heard within a second
HOURS_BEFORE = timedelta(hours=12)
SITTING_S = 150  # real; the longest takes half of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What is other at this visit than with a right module and a person who does everything right.

    `spoil` is done to the first box. Where the person stops at a prompt (`stops_at`), the same command is given again.
    Where the watch has died, it listened and heard until the visit began.
    """

    box: Box
    next_boxes: tuple[Box, ...] = ()
    spoil: Callable[[World], None] = lambda world: None
    habits: tuple[tuple[str, Habit], ...] = ()
    contacts: Mapping[int, str] = field(default_factory=dict)
    leaves_out: tuple[str, ...] = ()
    has_automation: bool = True
    faults: tuple[str, ...] = ()
    unpowered: tuple[str, ...] = ()
    stops_at: str | None = None
    has_watch_died: bool = False

    @property
    def boxes(self) -> tuple[Box, ...]:
        """Every box, in the order of the walk."""
        return (self.box, *self.next_boxes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """What the person read from one command until its end, and its exit status.

    `crossed` is what was said on the line of a question that was still open.
    """

    status: int
    ended: list[Ended]
    prompts: list[str]
    text: str
    crossed: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a visit ended: each sitting, and the checks that the database keeps, in the order of the walk."""

    sittings: list[Sitting]
    checks: list[CloseIn]

    @property
    def status(self) -> int:
        """The exit status of the last sitting."""
        return self.sittings[-1].status

    @property
    def ended(self) -> list[Ended]:
        """Each step that ended."""
        return [one for sitting in self.sittings for one in sitting.ended]

    @property
    def prompts(self) -> list[str]:
        """All that was asked."""
        return [one for sitting in self.sittings for one in sitting.prompts]

    @property
    def text(self) -> str:
        """All that was read."""
        return "\n".join(sitting.text for sitting in self.sittings)

    @property
    def crossed(self) -> list[str]:
        """All that was said on the line of a question that was still open."""
        return [one for sitting in self.sittings for one in sitting.crossed]

    @property
    def outcomes(self) -> dict[str, str]:
        """The outcome of each step, as it was read."""
        return {one.step: one.outcome for one in self.ended}

    @property
    def last(self) -> Ended:
        """The step that ended last."""
        return self.ended[-1]

    @property
    def check(self) -> CloseIn:
        """The only check."""
        [check] = self.checks
        return check


class Quiet:
    """Is told of what goes outside, and leaves it at that."""

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        pass

    def daily(self, due: object) -> None:
        pass

    def note(self, text: str) -> None:
        pass


async def visited(visit: Visit, folder: Path, *, show: Callable[[str], None]) -> Outcome:
    """Do a close-in check at a box, or a walk of several, through a terminal. `show` is given what it shows."""
    async with EmulatedHouse(
        faults=visit.faults, delay_s=(0, 0.02), unpowered=visit.unpowered, wiring=larkspur_wiring()
    ) as house:
        clock_file = folder / "clock.json"
        house.clock.share(clock_file)
        site_folder = _site_folder(house, folder)
        worlds = [box.wire(house, has_automation=visit.has_automation) for box in visit.boxes]
        visit.spoil(worlds[0])
        site = load(site_folder)
        async with _store(site, house.clock.now()) as store, _watched(visit, house, site, store):
            words = [sys.executable, str(AT_THE_BOX), str(clock_file), "close-in", *(box.point for box in visit.boxes)]
            words += ["--who", "A. Fitter", "--site", str(site_folder)]
            stops = [[(visit.stops_at, stop)], []] if visit.stops_at is not None else [[]]
            sittings = [await _sat(house, visit, words, habits, show) for habits in stops]
            checks = [check for box in visit.boxes for check in await store.close_ins(box.point)]
        return Outcome(sittings=sittings, checks=checks)


@asynccontextmanager
async def _store(site: Site, now: datetime) -> AsyncIterator[Store]:
    """Open the database. Nobody heard anything yet, so that what a check says was heard was heard during it."""
    silence = [Hearing(source=one.name, hour=_hour(now - HOURS_BEFORE), listened_s=0) for one in site.watching.sources]
    async with Store.open(site.folder / site.store_file) as store:
        await store.keep_encounters([], silence, [])
        yield store


@asynccontextmanager
async def _watched(visit: Visit, house: EmulatedHouse, site: Site, store: Store) -> AsyncIterator[None]:
    if not visit.has_watch_died:
        async with watched(house, site, store, Quiet(), house.clock.now):
            yield
        return
    now = house.clock.now()
    hour = _hour(now)
    heard = [
        Hearing(
            source=one.name, hour=hour, listened_s=(now - hour).total_seconds(), listened_from=hour, listened_until=now,
            heard=40, heard_at=now,
        )
        for one in site.watching.sources
    ]  # fmt: skip
    await store.keep_encounters([], heard, [])
    yield


def _hour(moment: datetime) -> datetime:
    return moment.replace(minute=0, second=0, microsecond=0)


def _site_folder(house: EmulatedHouse, folder: Path) -> Path:
    written = write_site(house, folder / "site", today=datetime.now(UTC).astimezone().date(), is_watched=True)
    site_file = written / "site.toml"
    text = site_file.read_text(encoding="utf-8").replace(f"listen_s = {LISTEN_S}", f"listen_s = {HEARD_S}")
    site_file.write_text(text, encoding="utf-8")
    return written


async def _sat(
    house: EmulatedHouse,
    visit: Visit,
    words: Sequence[str],
    habits: Sequence[tuple[str, Habit]],
    show: Callable[[str], None],
) -> Sitting:
    """Give the command, and work through it to its end."""
    contacts = {box.point: {**_fitted(house, box.point), **visit.contacts} for box in visit.boxes}
    async with at_terminal(words, {"TERM": "xterm"}) as terminal:
        person = Person(house, terminal, [*habits, *visit.habits], contacts, visit.leaves_out, show)
        async with asyncio.timeout(SITTING_S):
            status = await person.work()
    read = person.transcript
    return Sitting(status=status, ended=person.ended, prompts=person.prompts, text=read.text, crossed=read.crossed)


def _fitted(house: EmulatedHouse, point: str) -> dict[int, str]:
    """The kind of switch at each input of a module."""
    return {
        int(name.split(".")[1]): str(value)
        for name, value in house.modules[point].truth.items()
        if re.fullmatch(r"input\.\d+\.contact", name)
    }
