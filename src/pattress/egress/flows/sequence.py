"""How many units of a stream are missing, by their sequence numbers.

What belongs here: gaps, and what fills them late. What does not: what a unit is; IPFIX counts data records, NetFlow v9
packets, v5 flows, and each message carries the number of units sent before it.
"""

from collections import deque
from typing import Final

MAX_GAPS: Final = 16  # remembered for latecomers: reordering spans a few datagrams
RESTART_RUN: Final = 3  # so many messages in a row that follow one another, but not what came before: a new count


class Sequence:
    """Follows the numbers of one stream.

    A jump ahead of up to `greatest_gap` units is a loss; one that is larger, or far back, is an exporter that began to
    count anew. A message that comes late takes back the loss it was counted as; one that is repeated changes nothing.
    """

    def __init__(self, greatest_gap: int) -> None:
        self._greatest_gap = greatest_gap
        self._expected: int | None = None
        self._previous = 0
        self._late: int | None = None
        self._late_run = 0
        self._gaps: deque[tuple[int, int]] = deque(maxlen=MAX_GAPS)

    def follow(self, sequence: int, units: int | None) -> int:
        """Return by how much the number of lost units changes with a message; `units` is None where nobody can tell."""
        expected = self._expected
        if sequence == expected and units is not None:  # nearly always
            self._expected = (sequence + units) % _CYCLE
            self._previous = sequence
            self._late_run = 0
            return 0
        if expected is not None and units is not None:
            ahead = (sequence - expected) % _CYCLE
            if ahead > _CYCLE // 2:
                return self._look_back(sequence, units, _CYCLE - ahead)
            # Some exporters count the units of the message itself, too.
            if ahead <= self._greatest_gap and sequence != (self._previous + units) % _CYCLE:
                self._gaps.append((expected, ahead))
                self._go_on(sequence, units)
                return ahead
            if ahead > self._greatest_gap:
                self._gaps.clear()
        self._go_on(sequence, units)
        return 0

    def _go_on(self, sequence: int, units: int | None) -> None:
        self._expected = None if units is None else (sequence + units) % _CYCLE
        self._previous = sequence
        self._late = None
        self._late_run = 0

    def _look_back(self, sequence: int, units: int, behind: int) -> int:
        filled = self._fill(sequence, units)
        if filled:
            return -filled
        self._late_run = self._late_run + 1 if sequence == self._late else 1
        self._late = (sequence + units) % _CYCLE
        if behind > self._greatest_gap or self._late_run >= RESTART_RUN:
            self._gaps.clear()
            self._go_on(sequence, units)
        return 0

    def _fill(self, sequence: int, units: int) -> int:
        """Take what has come out of the gap that it was missing from, and return how much that is."""
        for gap in self._gaps:
            start, length = gap
            before = (sequence - start) % _CYCLE
            if before < length:
                filled = min(units, length - before)
                self._gaps.remove(gap)
                if before:
                    self._gaps.append((start, before))
                if before + filled < length:
                    self._gaps.append(((sequence + filled) % _CYCLE, length - before - filled))
                return filled
        return 0


_CYCLE = 2**32
