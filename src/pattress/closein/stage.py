"""What every step has at hand: the point, its module, the person, the clock, and what was read so far.

What belongs here: reading the module while the person is asked, and keeping every sample. What does not: what a step
makes of it.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Collection, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from pattress.closein.pace import Pace
from pattress.closein.talk import Question, Reply, SkipStepError, StopCheckError, Talk
from pattress.model.closein import Sample, StepOutcome
from pattress.model.device import Device
from pattress.model.plan import Point
from pattress.model.profile import Profile
from pattress.model.reading import Reading, Snapshot
from pattress.model.site import Site
from pattress.model.vocabulary import Value

MAX_SAMPLES = 50_000  # of one step, about 150 bytes each, so 8 MB; two hours of heat at nine values are 32,400

Heard = Reply | Literal["seen", "late"]
Read = Callable[[Device, Point | None], Awaitable[Reading]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a step ended."""

    outcome: StepOutcome
    sentence: str
    facts: Mapping[str, Value] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Stage:
    """One point under check. `device` is None until its module was found; `look_again` listens for where it is now."""

    site: Site
    point: Point
    profile: Profile
    talk: Talk
    clock: Callable[[], datetime]
    pace: Pace
    read_device: Read
    device: Device | None = None
    look_again: Callable[[], Awaitable[Device | None]] | None = None
    other_devices: Mapping[str, Device] = field(default_factory=dict)
    samples: list[Sample] = field(default_factory=list)

    async def read(self, names: Collection[str] = ()) -> Reading:
        """Return a reading of the module, and keep those values of it whose names, or beginnings of names, are given.

        Raises:
            RuntimeError: If the module was not found yet.
        """
        if self.device is None:
            raise RuntimeError("the module was not found yet")
        return self.keep(await self.read_device(self.device, self.point), names)

    async def is_elsewhere(self) -> bool:
        """Whether a module that does not answer any more does so at another address, where it is read from then on."""
        device = None if self.look_again is None else await self.look_again()
        if device is None or self.device is None or set(device.addresses) <= set(self.device.addresses):
            return False
        self.device = device
        return isinstance(await self.read(), Snapshot)

    def keep(self, reading: Reading, names: Collection[str], prefix: str = "") -> Reading:
        """Keep values of a reading as samples, and return it."""
        if isinstance(reading, Snapshot):
            for name, reported in reading.values.items():
                if any(name == one or name.startswith(f"{one}.") for one in names) and len(self.samples) < MAX_SAMPLES:
                    self.samples.append(Sample(at=reading.taken_at, name=f"{prefix}{name}", value=reported.value))
        return reading

    async def confirm(self, caution: str) -> None:
        """Have a caution confirmed.

        Raises:
            SkipStepError: If it is not.
        """
        if not await self.talk.confirm(caution):
            raise SkipStepError("the caution was not confirmed")

    async def ask(self, question: Question) -> Reply:
        """Return the reply to a question.

        Raises:
            StopCheckError: If the person stops here.
            SkipStepError: If the person leaves the step out, with the reason that they give.
        """
        return await self.heeded(await self.talk.ask(question))

    async def heeded(self, reply: Reply) -> Reply:
        """Return a reply that goes on with the step; see `ask` for the others."""
        if reply == "stop":
            raise StopCheckError
        if reply == "skip":
            reason = (await self.talk.words("Why is it left out?")).strip()
            raise SkipStepError(reason or "no reason was given")
        return reply

    async def until(
        self,
        question: Question,
        look: Callable[[Reading], bool],
        names: Collection[str],
        *,
        limit_s: float,
        apart_s: float = 0.0,
    ) -> Heard:
        """Ask something of the person and read the module meanwhile, at the earliest `apart_s` after the last time.

        Returns:
            `seen` where what was read is enough (`look` says so), the person's reply where that comes first, `late`
            where neither came in time.
        """
        return await self.until_read(question, self.read, look, names, limit_s=limit_s, apart_s=apart_s)

    async def until_read(
        self,
        question: Question,
        read: Callable[[Collection[str]], Awaitable[Reading]],
        look: Callable[[Reading], bool],
        names: Collection[str],
        *,
        limit_s: float,
        apart_s: float = 0.0,
    ) -> Heard:
        """Do as `until` does, with another way to read."""
        began_at = self.clock()
        async with self.asking(question) as asking:
            while (self.clock() - began_at).total_seconds() < limit_s:
                read_at = self.clock()
                if look(await read(names)):
                    return "seen"
                is_due = False
                while not is_due:
                    if asking.done():
                        return await self.heeded(asking.result())
                    await asyncio.wait([asking], timeout=self.pace.poll_s)
                    is_due = abs((self.clock() - read_at).total_seconds()) >= apart_s  # or the clock was set back
            return "late"

    @asynccontextmanager
    async def asking(self, question: Question) -> AsyncIterator[asyncio.Task[Reply]]:
        """Have a question open to the person for the block, and take it back at the end where it is not answered."""
        task = asyncio.create_task(self.talk.ask(question), name="ask the person")
        try:
            yield task
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    async def gathered(self, count: int, names: Collection[str], *, apart_s: float = 0.0) -> list[Snapshot]:
        """Return so many readings of the module, so far apart at least; fewer where it does not answer to some."""
        found = []
        for _ in range(count):
            asked_at = self.clock()
            reading = await self.read(names)
            if isinstance(reading, Snapshot):
                found.append(reading)
            await asyncio.sleep(self.pace.poll_s)
            await self.pause(apart_s - (self.clock() - asked_at).total_seconds())
        return found

    async def pause(self, seconds: float) -> None:
        """Wait by the stage's clock, in short real pauses: it need not go as fast as that of the machine."""
        until = self.clock() + timedelta(seconds=seconds)
        while self.clock() < until:  # noqa: ASYNC110 - nobody tells when a clock has got somewhere
            await asyncio.sleep(self.pace.poll_s)
