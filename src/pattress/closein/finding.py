"""Which devices are there, for the first step of the check: sightings, listened for as long as it takes.

What belongs here: one long listening, shared by all points of a check. What does not: judging what appeared.
"""

import asyncio
from collections.abc import Callable, Sequence

from pattress.audit.session import Session
from pattress.closein.stage import Heard, Stage
from pattress.closein.talk import Question
from pattress.model.device import Device
from pattress.model.plan import Plan, Point
from pattress.placing import Placing


class Finder:
    """Devices as a session sees them."""

    def __init__(self, session: Session, plan: Plan, window_s: float) -> None:
        self._session = session
        self._placing = Placing(plan)
        self._window_s = window_s

    def devices(self) -> Sequence[Device]:
        """Return every device that the evidence makes so far."""
        return self._session.merged().devices

    def of_point(self, point: Point, known: str | None = None) -> Device | None:
        """Return the device that a point names, as far as it was seen or is known.

        Where it names none, it is the one with the id `known`: that with which its check was begun.
        """
        if point.is_bound or known is None:
            return self.at_points().get(point.name)
        return next((one for one in self.devices() if known in one.ids), None)

    def at_points(self) -> dict[str, Device]:
        """Return the device of each point that was seen or is known, by the name of the point."""
        return self._placing.at_points(self.devices())

    def point_of(self, device: Device) -> Point | None:
        """Return the point that names a device."""
        return self._placing.point_of(device)

    async def listen(self) -> None:
        """Listen for the site's window."""
        await self._session.listen(self._window_s)

    async def until(self, stage: Stage, question: Question, is_enough: Callable[[], bool]) -> Heard:
        """Ask something of the person and listen until what was seen is enough, or the module is late."""
        async with stage.asking(question) as asking:
            listening = asyncio.create_task(
                self._session.listen(stage.pace.appear_s, until=lambda _: is_enough() or asking.done()), name="listen"
            )
            try:
                await asyncio.wait((asking, listening), return_when=asyncio.FIRST_COMPLETED)
                if is_enough():
                    return "seen"
                if asking.done():
                    return await stage.heeded(asking.result())
                return "late"
            finally:
                listening.cancel()
                await asyncio.gather(listening, return_exceptions=True)
