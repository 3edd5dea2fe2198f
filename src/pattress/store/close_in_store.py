"""The part of a site's database that close-in checks are kept in, as the rest of the program sees it.

What belongs here: one asynchronous method for each thing that is kept of a check or asked about it. What does not: how
(see `close_ins`), and everything else (see `store`, which this is a part of).
"""

from collections.abc import Mapping, Sequence
from datetime import datetime

from pattress.model.closein import CloseIn, Sample, StepResult
from pattress.model.vocabulary import Value
from pattress.store.close_ins import (
    begin_close_in,
    close_in,
    close_ins,
    end_close_in,
    keep_samples,
    keep_step,
    open_close_in,
    samples_of,
    set_device,
    set_planned,
    tries_of,
)
from pattress.store.connection import Connection


class CloseInStore:
    """Close-in checks in an open database. Every try of every step is kept, and every sample of it."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    async def begin_close_in(
        self,
        point: str,
        who: str,
        began_at: datetime,
        device: str | None = None,
        *,
        planned: Mapping[str, Value] | None = None,
    ) -> int:
        """Return the number of a new close-in check of a point; StoreError where another one of it has not ended.

        `planned` is what the site's files say of the point, and is kept as it is now.
        """
        return await self._connection.write(
            lambda database: begin_close_in(database, point, who, began_at, device, planned or {})
        )

    async def close_in_device(self, number: int, device: str) -> None:
        """Keep which device a close-in check is of; StoreError where there is no such check or it has ended."""
        await self._connection.write(lambda database: set_device(database, number, device))

    async def close_in_planned(self, number: int, planned: Mapping[str, Value]) -> None:
        """Keep what is planned for a check's point, where that was changed; StoreError as for `close_in_device`."""
        await self._connection.write(lambda database: set_planned(database, number, planned))

    async def keep_samples(self, number: int, step: str, samples: Sequence[Sample]) -> int:
        """Keep what was read in a step that goes on, for the result that it will have; return how many were kept.

        Give each once. Above a bound (51,200) no more of one try are kept.
        """
        return await self._connection.write(lambda database: keep_samples(database, number, step, samples))

    async def keep_step(self, number: int, result: StepResult) -> int:
        """Keep how a step of a close-in check ended, and return which try of it that was, counted from 1.

        Samples that were kept since it began belong to it, and so do its own, one that is among both once. Those from
        before it began are of a try that was cut short, and count as one. From here on not even a power cut loses it.
        """
        return await self._connection.write(lambda database: keep_step(database, number, result), is_final=True)

    async def end_close_in(self, number: int, ended_at: datetime, is_signed_off: bool) -> None:
        """Keep that a close-in check was signed off or given up: from here on it does not change and is not lost."""
        await self._connection.write(
            lambda database: end_close_in(database, number, ended_at, is_signed_off), is_final=True
        )

    async def close_in(self, number: int) -> CloseIn:
        """Return a close-in check, the newest result of each step with its samples; StoreError for an unknown one."""
        return await self._connection.read(lambda database: close_in(database, number))

    async def close_ins(self, point: str | None = None) -> list[CloseIn]:
        """Return every close-in check, or those of one point, the newest last; without samples."""
        return await self._connection.read(lambda database: close_ins(database, point))

    async def open_close_in(self, point: str) -> CloseIn | None:
        """Return the close-in check of a point that was begun and has not ended; None where there is none."""
        return await self._connection.read(lambda database: open_close_in(database, point))

    async def tries_of(self, number: int, step: str | None = None) -> list[StepResult]:
        """Return every result of a close-in check's steps, or of one of them, first try first; without samples."""
        return await self._connection.read(lambda database: tries_of(database, number, step))

    async def samples_of(self, number: int, step: str, attempt: int | None = None) -> list[Sample]:
        """Return what was read in a try of a step; without `attempt` in the newest, whether it has ended or not."""
        return await self._connection.read(lambda database: samples_of(database, number, step, attempt))
