"""The database of a site, as the rest of the program sees it.

What belongs here: one asynchronous method for each thing that is kept or asked for. What does not: how.
"""

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Self

from sqlite_utils import Database

from pattress.model.device import Device
from pattress.model.encounter import Company, Encounter, Hearing, KeptTemplate, Told
from pattress.model.finding import Finding, Outcome
from pattress.model.kept import (
    Compaction,
    KeptFinding,
    KeptReading,
    KeptRun,
    KnownDevice,
    Measurement,
    Placement,
    PointSpan,
    Retention,
    SignOff,
    Span,
)
from pattress.model.reading import Reading
from pattress.store.audits import keep_audit
from pattress.store.close_in_store import CloseInStore
from pattress.store.compaction import file_bytes, refuse_without_room, rewrite
from pattress.store.connection import Connection
from pattress.store.devices import keep_devices, known_devices
from pattress.store.encounter_thinning import (
    aged_encounter_days,
    clear_device,
    crowded_devices,
    forget_aged_encounters,
    settle_encounter_days,
)
from pattress.store.encounters import company, encounters, hearings, keep_encounters
from pattress.store.findings import findings_at, keep_findings, open_findings
from pattress.store.placements import keep_placements, placements
from pattress.store.readings import keep_readings, measurements, readings_of
from pattress.store.runs import begin_run, end_run, last_run, runs
from pattress.store.sign_offs import all_sign_offs, keep_sign_offs, signed_off
from pattress.store.spans import history, history_of_point
from pattress.store.thinning import Ages, aged_days, ages, forget_aged, forget_words, settle_days
from pattress.store.told import all_told, keep_places, keep_templates, keep_told, places, templates

DAYS_AT_ONCE = 64  # about 0.3 s of a transaction, where each holds 288 readings
DEFAULT_RETENTION = Retention()


class Store(CloseInStore):
    """An open database. Every call runs on one thread of its own; each call that keeps is one transaction.

    Times must have a time zone (ValueError otherwise), are kept to the millisecond and come back in UTC. Every call
    raises StoreError where the database cannot be used; what was kept before is not lost, and the next call may
    succeed again.
    """

    @classmethod
    @asynccontextmanager
    async def open(cls, path: Path, *, read_only: bool = False, reads_at_least: bool = False) -> AsyncIterator[Self]:
        """Open the database at `path` for the block; made if it is not there, brought up to date if it is older.

        With `read_only` nothing is made or changed, and it must be there. With `reads_at_least` it is opened for
        reading alone where it cannot be for writing (a full disk, say): each call that keeps then raises why.

        Raises:
            StoreError: If it cannot be opened, is damaged, is not ours, or is of a newer version of the program.
        """
        store = cls(Connection(path, is_read_only=read_only, reads_at_least=reads_at_least))
        try:
            await store._connection.open()
            yield store
        finally:
            await store.close()

    async def close(self) -> None:
        """Close the database after every call made so far. Twice is as good as once."""
        await self._connection.close()

    async def begin_run(self, started_at: datetime, policy_digest: str) -> int:
        """Return the number of a new run."""
        return await self._connection.write(lambda database: begin_run(database, started_at, policy_digest))

    async def keep_devices(self, run: int, devices: Sequence[Device]) -> None:
        """Keep devices with their live sightings. One that was known by a less certain id keeps its history."""
        await self._connection.write(lambda database: keep_devices(database, run, devices))

    async def keep_readings(self, run: int, readings: Sequence[Reading]) -> None:
        """Keep readings, in the order in which they came; an unchanged one costs one row."""
        await self._connection.write(lambda database: keep_readings(database, run, readings))

    async def keep_findings(self, run: int, findings: Sequence[Finding], at: datetime) -> None:
        """Keep the findings of a run on the whole site: opens what is new, closes what is no longer so."""
        await self._connection.write(lambda database: keep_findings(database, run, findings, at))

    async def end_run(self, run: int, ended_at: datetime, counts: Mapping[Outcome, int]) -> None:
        """Keep that a run came to its end. From here on not even a power cut loses it."""
        await self._connection.write(lambda database: end_run(database, run, ended_at, counts), is_final=True)

    async def keep_audit(
        self,
        run: int,
        *,
        devices: Sequence[Device],
        readings: Sequence[Reading],
        placed: Mapping[str, str],
        findings: Sequence[Finding],
        ended_at: datetime,
        counts: Mapping[Outcome, int],
    ) -> None:
        """Keep the whole result of a run at once, and that it came to its end: all of it or, if that fails, nothing.

        `placed` says by point which device (by id) stands there, from the start of the run. From here on not even a
        power cut loses it.
        """
        await self._connection.write(
            lambda database: keep_audit(database, run, devices, readings, placed, findings, ended_at, counts),
            is_final=True,
        )

    async def sign_off(self, agreed: Sequence[SignOff]) -> None:
        """Keep what people agreed to, all of it or nothing. From here on not even a power cut loses it."""
        await self._connection.write(lambda database: keep_sign_offs(database, agreed), is_final=True)

    async def signed_off(self) -> dict[str, SignOff]:
        """Return the newest sign-off of each device that has one, by its present id."""
        return await self._connection.read(signed_off)

    async def sign_offs(self) -> list[SignOff]:
        """Return every sign-off that was ever kept, the oldest first."""
        return await self._connection.read(all_sign_offs)

    async def keep_placements(self, run: int, placed: Mapping[str, str], at: datetime) -> None:
        """Keep which device (by id) stands at which point. A point that is not among them keeps its device."""
        await self._connection.write(lambda database: keep_placements(database, run, placed, at))

    async def placements(self) -> list[Placement]:
        """Return which device stood where and when, by point and time."""
        return await self._connection.read(placements)

    async def known_devices(self) -> list[KnownDevice]:
        """Return every device that was seen at least once, in the order of their ids."""
        return await self._connection.read(known_devices)

    async def history(self, device_id: str, setting: str | None = None, at: datetime | None = None) -> list[Span]:
        """Return which values a device's settings had and when, by setting and time; with `at`, those of that moment.

        None for an unknown device. The id may be one that the device had before a better one was learned.
        """
        return await self._connection.read(lambda database: history(database, device_id, setting, at))

    async def history_of_point(
        self, point: str, setting: str | None = None, at: datetime | None = None
    ) -> list[PointSpan]:
        """Return which values the devices that stood at a point had while they stood there, by setting and time.

        It goes on where a module was replaced. With `at`, those of that moment.
        """
        return await self._connection.read(lambda database: history_of_point(database, point, setting, at))

    async def readings_of(self, device_id: str, limit: int = 100) -> list[KeptReading]:
        """Return the newest readings of a device, the newest first; none for an unknown device."""
        return await self._connection.read(lambda database: readings_of(database, device_id, limit))

    async def measurements(self, device_id: str, setting: str, since: datetime, until: datetime) -> list[Measurement]:
        """Return what a device measured from `since` until just before `until`, the oldest first, as far as kept.

        None for an unknown device. The older, the fewer: see `Retention`.
        """
        return await self._connection.read(lambda database: measurements(database, device_id, setting, since, until))

    async def thin(self, now: datetime, retention: Retention = DEFAULT_RETENTION, *, is_whole: bool = False) -> int:
        """Thin what has aged; return how many readings went. To be called after each audit, and each day of watching.

        It takes many small transactions, so that others can write between them. With `is_whole` everything is looked
        at, not only what has aged since a month ago. Nothing is done where too few runs, and too few hours that were
        watched, agree on what day it is.
        """
        old = await self._connection.read(lambda database: ages(database, now, retention, is_whole=is_whole))
        if old is None:
            return 0
        days = await self._connection.read(lambda database: aged_days(database, old))
        gone = 0
        for start in range(0, len(days), DAYS_AT_ONCE):
            some = days[start : start + DAYS_AT_ONCE]
            gone += await self._connection.write(partial(settle_days, days=some, ages=old))
        await self._connection.write(lambda database: forget_aged(database, old))
        await self._thin_encounters(old)
        await self._connection.write(forget_words, checks_keys=False)
        return gone

    async def _thin_encounters(self, old: Ages) -> None:
        days = await self._connection.read(lambda database: aged_encounter_days(database, old))
        for start in range(0, len(days), DAYS_AT_ONCE):
            some = days[start : start + DAYS_AT_ONCE]
            await self._connection.write(partial(settle_encounter_days, days=some))
        await self._connection.write(lambda database: forget_aged_encounters(database, old))
        for device, allowed in await self._connection.read(crowded_devices):
            await self._connection.write(partial(clear_device, device=device, allowed=allowed, ages=old))

    async def compact(self, now: datetime, retention: Retention = DEFAULT_RETENTION) -> Compaction:
        """Thin everything that has aged, and give the database's unused space back to the disk.

        Raises:
            StoreError: If the disk has too little room for it; nothing was changed then.
        """
        connection = self._connection
        bytes_before = await connection.read(file_bytes)
        await connection.alone(lambda database: refuse_without_room(database, connection.path))
        thinned_count = await self.thin(now, retention, is_whole=True)
        await connection.alone(rewrite)
        return Compaction(
            thinned_count=thinned_count, bytes_before=bytes_before, bytes_after=await connection.read(file_bytes)
        )

    async def runs(self, limit: int = 30) -> list[KeptRun]:
        """Return the newest runs, the newest first."""
        return await self._connection.read(lambda database: runs(database, limit))

    async def open_findings(self) -> list[KeptFinding]:
        """Return the findings that hold, the gravest first."""
        return await self._connection.read(open_findings)

    async def findings_at(self, moment: datetime) -> list[KeptFinding]:
        """Return the findings that held at a moment, the gravest first."""
        return await self._connection.read(lambda database: findings_at(database, moment))

    async def last_run(self) -> KeptRun | None:
        """Return the newest run that came to its end, None where there is none."""
        return await self._connection.read(last_run)

    async def keep_encounters(
        self,
        encounters: Sequence[Encounter],
        heard: Sequence[Hearing],
        company: Sequence[Company],
        *,
        told: Sequence[Told] = (),
        places: Mapping[str, str] | None = None,
    ) -> None:
        """Keep what came of devices and the outside, all of it or nothing, each with what is kept of its hour.

        An encounter is kept by device, kind, remote, protocol, port and the hour in which it ended: counts add up,
        times widen, name and remark are the newest that are known. Hearings add up; of company the most counts. Of the
        many remotes of one device in one hour, those above a bound are one, whose name is `*`.

        `told` is what a person was told, over what was kept of the same device, kind and place. `places` say how far
        the log of each of these sources was read, in the words of its reader, and of no others.
        """

        def keep(database: Database) -> None:
            keep_encounters(database, encounters, heard, company)
            keep_told(database, told)
            if places is not None:
                keep_places(database, places)

        await self._connection.write(keep)

    async def encounters(
        self, *, since: datetime | None = None, until: datetime | None = None, device: str | None = None
    ) -> list[Encounter]:
        """Return the encounters that went on at any moment from `since` until just before `until`, in time order.

        Each is one hour of one device and remote; the older ones one day, see `Retention`. None for an unknown device.
        """
        return await self._connection.read(lambda database: encounters(database, since, until, device))

    async def hearings(self, since: datetime | None = None, until: datetime | None = None) -> list[Hearing]:
        """Return how sources were heard in each hour that lies at least in part between two moments, in time order."""
        return await self._connection.read(lambda database: hearings(database, since, until))

    async def company(self, since: datetime | None = None, device: str | None = None) -> list[Company]:
        """Return how many hosts of the inside devices called, in each hour from that of `since` on, in time order."""
        return await self._connection.read(lambda database: company(database, since, device))

    async def told(self) -> list[Told]:
        """Return all that a person was told, by device, kind and place."""
        return await self._connection.read(all_told)

    async def keep_templates(self, kept: Sequence[KeptTemplate]) -> None:
        """Keep these templates of flow export, and no others."""
        await self._connection.write(lambda database: keep_templates(database, kept))

    async def templates(self) -> list[KeptTemplate]:
        """Return the templates of flow export that were kept last."""
        return await self._connection.read(templates)

    async def places(self) -> dict[str, str]:
        """Return by source how far its log was read."""
        return await self._connection.read(places)
