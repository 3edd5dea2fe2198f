"""Watching the way to the outside: every source listened to, what it comes to kept, a person told.

What belongs here: the tasks and their rhythm. What does not: judging (`desk`), the words (`report`), where they go.

What is to be told is told before it is kept: a process that is killed in between tells it twice, not never.
"""

import asyncio
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Protocol

from pattress.alert.book import next_daily
from pattress.audit.session import Clock
from pattress.daemon.desk import Desk, Taken, added_up
from pattress.daemon.finder import Finder
from pattress.daemon.listeners import Listeners
from pattress.egress.company import LEAST_HOSTS, LEAST_PORTS, PAST, unlike_before
from pattress.egress.pausing import pause
from pattress.egress.whereabouts import Owner
from pattress.model.encounter import Alert, Company, Told
from pattress.model.errors import StoreError
from pattress.model.site import Site
from pattress.store.store import Store

TELL_S = 2.0  # how long what came may wait to be told
NEWS_S = 10.0  # how long an encounter that nobody is told of may wait to be kept
KEEP_S = 60.0  # and counts alone: each time costs some pages of an SD card
FIND_S = 60.0  # how long an address that moved may go unnoticed
TEMPLATES_S = 300.0  # templates come over and over; this is how much of a restart is bridged
STRANGERS_EVERY = timedelta(hours=1)  # whoever sends without being listed may do so all day
CLOUD = "cloud.enabled"


class Teller(Protocol):
    """Where words for a person go."""

    def alert(self, alert: Alert, owner: Owner, *, says_off: bool) -> None:
        """Tell one thing at once. `says_off` is whether the device reports that its cloud is off."""

    def daily(self, due: Sequence[tuple[Told, Owner]]) -> None:
        """Tell what has come since it was last told."""

    def note(self, text: str) -> None:
        """Say how the watching itself fares."""


class Watch:
    """Watches until it is told to stop."""

    def __init__(self, site: Site, store: Store, teller: Teller, clock: Clock) -> None:
        self._site = site
        self._store = store
        self._teller = teller
        self._clock = clock
        self._finder = Finder(site, clock)
        self._unkept: Taken | None = None
        self._places: Mapping[str, str] = {}
        self._kept_at: datetime | None = None  # that somebody listens from now on is kept at once
        self._is_refused = False
        self._troubles: dict[str, str | None] = {}
        self._noted: set[str] = set()
        self._strangers = 0
        self._strangers_noted_at: datetime | None = None

    async def run(self, stop: asyncio.Event) -> None:
        """Listen, judge, tell and keep until `stop` is set; then what is left is told and kept."""
        desk = Desk(self._site, await self._finder.whereabouts(self._store), await self._store.told())
        self._say_what_is_wrong(desk)
        kept = await self._store.templates(), await self._store.places()
        listeners = Listeners(self._site.watching, desk, self._clock, *kept)
        async with asyncio.TaskGroup() as group:
            for listener in listeners.all(stop):
                group.create_task(listener.work, name=f"listen to {listener.name}")
            group.create_task(self._finder.look(stop), name="find devices")
            group.create_task(self._find(desk, stop), name="know where devices are")
            group.create_task(self._keep_known(listeners, stop), name="keep templates")
            group.create_task(self._turn(desk, listeners, stop), name="tell and keep")
        await self._take(desk, listeners, is_last=True)
        self._tell_daily(desk, self._clock())
        await self._take(desk, listeners, is_last=True)  # what the first one came to: a device that is unlike before
        await self._keep()
        await self._keep_templates(listeners)

    def _say_what_is_wrong(self, desk: Desk) -> None:
        for fault in desk.allowances.faults:
            self._teller.note(str(fault))
        for remark in desk.allowances.remarks:
            self._teller.note(remark)

    async def _turn(self, desk: Desk, listeners: Listeners, stop: asyncio.Event) -> None:
        daily_at = next_daily(self._clock())
        self._add(desk.take(self._clock()))  # from now on somebody listens
        while await pause(stop, TELL_S):
            await self._take(desk, listeners)
            now = self._clock()
            if now >= daily_at:
                self._tell_daily(desk, now)
                await self._thin(now)
                daily_at = next_daily(now)

    async def _find(self, desk: Desk, stop: asyncio.Event) -> None:
        while await pause(stop, FIND_S):
            desk.know(await self._finder.whereabouts(self._store))

    async def _keep_known(self, listeners: Listeners, stop: asyncio.Event) -> None:
        while await pause(stop, TEMPLATES_S):
            await self._keep_templates(listeners)

    async def _keep_templates(self, listeners: Listeners) -> None:
        templates = listeners.templates()
        if templates is not None:
            try:
                await self._store.keep_templates(templates)
            except StoreError as error:
                self._note_refusal(error)

    async def _take(self, desk: Desk, listeners: Listeners, *, is_last: bool = False) -> None:
        self._note_troubles(desk)
        for note in listeners.notes():
            if note not in self._noted:
                self._noted.add(note)
                self._teller.note(note)
        taken = desk.take(self._clock(), is_last=is_last)
        self._places = listeners.places()  # now: while something is told, more is read
        self._note_strangers(taken.strangers, is_last=is_last)
        for alert in taken.alerts:
            await self._tell(desk, alert)
        self._add(taken)
        now = self._clock()
        since_s = KEEP_S if self._kept_at is None else (now - self._kept_at).total_seconds()
        has_news = self._unkept is not None and bool(self._unkept.encounters)
        if taken.alerts or not 0 <= since_s < (NEWS_S if has_news else KEEP_S):
            self._kept_at = now
            await self._keep()
        for company in taken.company:
            await self._compare(desk, company)

    async def _tell(self, desk: Desk, alert: Alert) -> None:
        device = alert.told.device
        self._teller.alert(alert, desk.whereabouts.called(device), says_off=await self._says_off(device))

    def _tell_daily(self, desk: Desk, now: datetime) -> None:
        due = desk.book.daily(now)
        if due:
            self._teller.daily([(one, desk.whereabouts.called(one.device)) for one in due])

    async def _thin(self, now: datetime) -> None:
        """Let the store thin what has aged, as each audit does: not every site has audits."""
        try:
            await self._store.thin(now)
        except StoreError as error:
            self._note_refusal(error)

    async def _says_off(self, device: str) -> bool:
        try:
            spans = await self._store.history(device, CLOUD)
        except StoreError:
            return False
        return any(span.until is None and span.value is False for span in spans)

    async def _compare(self, desk: Desk, company: Company) -> None:
        """Compare an hour that is remarkable at all with the past of its device."""
        if company.hosts <= LEAST_HOSTS and company.ports <= LEAST_PORTS:
            return
        try:
            past = await self._store.company(self._clock() - PAST, company.device)
        except StoreError as error:
            self._note_refusal(error)
            return
        sentence = unlike_before(company, past)
        if sentence is not None:
            desk.unlike(company.device, sentence, self._clock())

    def _add(self, taken: Taken) -> None:
        self._unkept = taken if self._unkept is None else added_up(self._unkept, taken)

    async def _keep(self) -> None:
        """Keep what has come, and how far logs were read for it, all of it or nothing.

        What the store refuses is kept with what comes next, within the bound of a gathering.
        """
        unkept = self._unkept
        if unkept is None:
            return
        try:
            await self._store.keep_encounters(
                unkept.encounters, unkept.hearings, unkept.company, told=unkept.told, places=self._places
            )
        except StoreError as error:
            self._note_refusal(error)
            return
        self._unkept = None
        if self._is_refused:
            self._is_refused = False
            self._teller.note("the database keeps again what comes; what had come meanwhile is kept, too")

    def _note_refusal(self, error: StoreError) -> None:
        if not self._is_refused:
            self._is_refused = True
            self._teller.note(f"{error} What comes is told all the same, and kept once that is possible again.")

    def _note_strangers(self, count: int, *, is_last: bool) -> None:
        self._strangers += count
        noted_at, now = self._strangers_noted_at, self._clock()
        is_due = is_last or noted_at is None or not timedelta() <= now - noted_at < STRANGERS_EVERY
        if self._strangers and is_due:
            self._teller.note(f"{self._strangers} datagrams or connections of senders that site.toml does not list")
            self._strangers, self._strangers_noted_at = 0, now

    def _note_troubles(self, desk: Desk) -> None:
        for source in self._site.watching.sources:
            trouble = desk.tallies.of(source.name).trouble
            if trouble != self._troubles.get(source.name):
                self._teller.note(f"{source.name}: {trouble}" if trouble else f"{source.name}: works again")
                self._troubles[source.name] = trouble
