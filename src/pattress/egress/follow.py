"""Following a log file as it is written.

What belongs here: when to look, and telling how the source fares. What does not: what rotation does to the file
(`tail`), what lines say. A look each half second costs less than it would to be told of changes, and needs no library.
"""

import asyncio
from collections.abc import Callable

from pattress.egress.pausing import pause
from pattress.egress.tail import Tail
from pattress.egress.tail_reader import Look, Place
from pattress.egress.tally import Tallies
from pattress.egress.threads import in_thread
from pattress.model.watching import WatchSource

LOOK_S = 0.5

Sink = Callable[[WatchSource, bytes], None]
"""Takes one line, without its end, and the source it is from."""


class FileFollower:
    """The lines that are appended to the file of a source.

    With the `place` of an earlier run it goes on there, so that no line is missed or told twice; without one it starts
    at the end of the file.
    """

    def __init__(self, source: WatchSource, tallies: Tallies, place: Place | None = None) -> None:
        if source.file is None:
            raise ValueError(f"source {source.name} has no file")
        self._source = source
        self._file = source.file
        self._tallies = tallies
        self._place = place

    def place(self) -> Place | None:
        """Return how far lines were handed on, to be kept; None where there was nothing to read yet."""
        return self._place

    async def listen(self, sink: Sink, stop: asyncio.Event) -> None:
        """Hand each line to `sink` until `stop` is set. What fails is said in the tallies, and tried again."""
        tail = Tail(self._file, self._place)
        try:
            while not stop.is_set():
                look = await in_thread(tail.look)
                self._hand_on(look, sink)
                self._place = tail.place()
                if not look.is_more and not await pause(stop, LOOK_S):
                    return
        finally:
            tail.close()

    def _hand_on(self, look: Look, sink: Sink) -> None:
        tally = self._tallies.of(self._source.name)
        tally.heard += len(look.lines)
        tally.refused += look.cut
        tally.lost += look.gaps
        tally.trouble = look.trouble
        for line in look.lines:
            sink(self._source, line)
