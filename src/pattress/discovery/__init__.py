"""Sources of sightings: each listens to one way in which devices make themselves known.

What belongs here: listening, parsing, and the profile that an announcement fits. What does not: deciding which
sightings are one device (`identity`), and asking a device anything (`reading`).
"""

import asyncio
from collections.abc import Callable, Sequence
from typing import Protocol

from pattress.model.device import Sighting
from pattress.model.source import SourceReport

Sink = Callable[[Sighting], None]


class Source(Protocol):
    """One way in which devices make themselves known."""

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Hand each sighting to `sink` in the event loop until `stop` is set; then say how the source fared.

        A source that cannot be used returns its report at once; it raises nothing but bugs and cancellation.
        """
        ...
