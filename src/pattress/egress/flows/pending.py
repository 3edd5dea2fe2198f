"""Data sets that came before their template.

What belongs here: holding them within bounds, and giving them up. What does not: decoding them.
"""

from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final, NamedTuple

# Exporters repeat their templates after minutes, some only after so many packets, which is long where little happens.
MAX_HELD: Final = timedelta(hours=1)
# 512 KiB is about 10 000 records of 50 octets, half an hour of 5 records a second. The octets, and 2048 sets with about
# 300 octets of bookkeeping each, are 1.1 MiB a stream, and 35 MiB for the 32 streams there may be.
MAX_HELD_OCTETS: Final = 512 * 1024
MAX_HELD_SETS: Final = 2048


class Held(NamedTuple):
    """The content of a set, and when it came."""

    template: int
    content: bytes
    heard_at: datetime


class Pending:
    """The sets of one stream that wait for their templates, the oldest first."""

    def __init__(self) -> None:
        self._held: deque[Held] = deque()
        self._octets = 0

    def __len__(self) -> int:
        return len(self._held)

    @property
    def since(self) -> datetime | None:
        """When the oldest of them came."""
        return self._held[0].heard_at if self._held else None

    def hold(self, held: Held) -> int:
        """Keep a set, and return how many others were given up for it."""
        self._held.append(held)
        self._octets += len(held.content)
        given_up = 0
        while self._octets > MAX_HELD_OCTETS or len(self._held) > MAX_HELD_SETS:
            self._give_up()
            given_up += 1
        return given_up

    def take(self, template: int) -> list[Held]:
        """Return the sets that waited for a template, which wait no more."""
        if not self._held:
            return []
        taken = [held for held in self._held if held.template == template]
        if taken:
            self._keep(held for held in self._held if held.template != template)
        return taken

    def expire(self, now: datetime) -> int:
        """Give up what has waited for too long, and return how many sets that is."""
        given_up = 0
        while self._held and now - self._held[0].heard_at > MAX_HELD:
            self._give_up()
            given_up += 1
        return given_up

    def _give_up(self) -> None:
        self._octets -= len(self._held.popleft().content)

    def _keep(self, kept: Iterable[Held]) -> None:
        self._held = deque(kept)
        self._octets = sum(len(held.content) for held in self._held)
