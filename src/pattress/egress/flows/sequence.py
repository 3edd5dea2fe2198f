"""How many units of a stream are missing, by their sequence numbers.

What belongs here: gaps, what fills them late, and the ways in which exporters count. What does not: what a unit is;
IPFIX counts data records, NetFlow v9 packets, v5 flows.
"""

from collections import deque
from typing import Final

MAX_GAPS: Final = 16  # remembered for latecomers: reordering spans a few datagrams
RESTART_RUN: Final = 3  # so many messages in a row that follow one another, but not what came before: a new count
MAX_MISFITS: Final = 4  # after so many in a row, the way of counting that was settled on was the wrong one

# The number of a message should be how many units were sent before it (RFC 7011 section 3.1). Exporters are seen to add
# the units of the message itself, and to leave the records of options out.
BEFORE: Final = 0
BEFORE_BUT_OPTIONS: Final = 1
WITH_ITSELF: Final = 2
WITH_ITSELF_BUT_OPTIONS: Final = 3
EVERY_WAY: Final = (BEFORE, BEFORE_BUT_OPTIONS, WITH_ITSELF, WITH_ITSELF_BUT_OPTIONS)


class Sequence:
    """Follows the numbers of one stream, whose exporter counts in one of some `ways`.

    A jump ahead of up to `greatest_gap` units is a loss; one that is larger, or far back, is an exporter that began to
    count anew. A message that comes late takes back the loss it was counted as; one that is repeated changes nothing.
    """

    def __init__(self, greatest_gap: int, ways: tuple[int, ...] = (BEFORE,)) -> None:
        self._greatest_gap = greatest_gap
        self._every_way = ways
        self._ways = ways  # those that fit all that was heard so far
        self._misfits = 0
        self._previous: int | None = None
        self._counts = (0, 0)  # of the previous message: units, and those that are no options
        self._late: int | None = None
        self._late_run = 0
        self._gaps: deque[tuple[int, int]] = deque(maxlen=MAX_GAPS)

    def follow(self, sequence: int, units: int | None, options: int = 0) -> int:
        """Return by how much the number of lost units changes with a message.

        `units` are those of the message, None where nobody can tell; `options` says how many of them are options.
        """
        if units is None:
            self._previous = None
            return 0
        counts = (units, units - options)
        if self._previous is None:
            self._go_on(sequence, counts)
            return 0
        due = (*self._counts, *counts)
        step = (sequence - self._previous) % _CYCLE
        way = self._ways[0]
        if step == due[way] and (counts == self._counts or len(self._ways) == 1):  # nearly always
            self._go_on(sequence, counts)
            return 0
        fitting = tuple(way for way in self._ways if step == due[way])
        if fitting:
            self._ways = fitting
            self._go_on(sequence, counts)
            return 0
        return self._look_into(sequence, counts, (step - due[way]) % _CYCLE, way)

    def _go_on(self, sequence: int, counts: tuple[int, int]) -> None:
        self._previous = sequence
        self._counts = counts
        self._misfits = self._late_run = 0

    def _look_into(self, sequence: int, counts: tuple[int, int], ahead: int, way: int) -> int:
        """Tell a loss, a latecomer, a repetition and a new count from one another."""
        misfits = self._misfits + 1
        own = counts[way % 2]
        first = sequence if way < WITH_ITSELF else (sequence - own) % _CYCLE
        change = 0
        if ahead <= self._greatest_gap:
            self._gaps.append(((first - ahead) % _CYCLE, ahead))
            self._go_on(sequence, counts)
            change = ahead
        elif ahead < _CYCLE - self._greatest_gap:
            self._begin_anew(sequence, counts)
        else:
            change = -self._fill(first, own)
            if not change:
                self._late_run = self._late_run + 1 if first == self._late else 1
                self._late = (first + own) % _CYCLE
                if self._late_run >= RESTART_RUN:
                    self._begin_anew(sequence, counts)
        self._misfits = misfits
        if misfits >= MAX_MISFITS:
            self._ways = self._every_way
        return change

    def _begin_anew(self, sequence: int, counts: tuple[int, int]) -> None:
        self._gaps.clear()
        self._ways = self._every_way
        self._go_on(sequence, counts)

    def _fill(self, first: int, units: int) -> int:
        """Take what has come out of the gap that it was missing from, and return how much that is."""
        for gap in self._gaps:
            start, length = gap
            before = (first - start) % _CYCLE
            if before < length:
                filled = min(units, length - before)
                self._gaps.remove(gap)
                if before:
                    self._gaps.append((start, before))
                if before + filled < length:
                    self._gaps.append(((first + filled) % _CYCLE, length - before - filled))
                return filled
        return 0


_CYCLE = 2**32
