"""The database of a site, as the rest of the program sees it.

What belongs here: one asynchronous method for each thing that is kept or asked for. What does not: how.
"""

from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path
from typing import Self

from pattress.model.device import Device
from pattress.model.finding import Finding, Outcome
from pattress.model.kept import KeptFinding, KeptReading, KeptRun, KnownDevice, Span
from pattress.model.reading import Reading
from pattress.store.connection import Connection
from pattress.store.devices import keep_devices, known_devices
from pattress.store.findings import keep_findings, open_findings
from pattress.store.readings import keep_readings, readings_of
from pattress.store.runs import begin_run, end_run, runs
from pattress.store.spans import history


class Store:
    """An open database. Every call runs on one thread of its own; each call that keeps is one transaction.

    Times must have a time zone (ValueError otherwise), are kept to the millisecond and come back in UTC. Every call
    raises StoreError where the database cannot be used; what was kept before is not lost, and the next call may
    succeed again.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    @classmethod
    @asynccontextmanager
    async def open(cls, path: Path, *, read_only: bool = False) -> AsyncIterator[Self]:
        """Open the database at `path` for the block; made if it is not there, brought up to date if it is older.

        With `read_only` nothing is made or changed, and it must be there.

        Raises:
            StoreError: If it cannot be opened, is damaged, is not ours, or is of a newer version of the program.
        """
        store = cls(Connection(path, is_read_only=read_only))
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

    async def known_devices(self) -> list[KnownDevice]:
        """Return every device that was seen at least once, in the order of their ids."""
        return await self._connection.read(known_devices)

    async def history(self, device_id: str, setting: str | None = None) -> list[Span]:
        """Return which values a device's settings had and when, by setting and time; none for an unknown device.

        The id may be one that the device had before a better one was learned.
        """
        return await self._connection.read(lambda database: history(database, device_id, setting))

    async def readings_of(self, device_id: str, limit: int = 100) -> list[KeptReading]:
        """Return the newest readings of a device, the newest first; none for an unknown device."""
        return await self._connection.read(lambda database: readings_of(database, device_id, limit))

    async def runs(self, limit: int = 30) -> list[KeptRun]:
        """Return the newest runs, the newest first."""
        return await self._connection.read(lambda database: runs(database, limit))

    async def open_findings(self) -> list[KeptFinding]:
        """Return the findings that hold, the gravest first."""
        return await self._connection.read(open_findings)
