"""One open log file: its lines from a place on, and whether it is still the file that it was.

What belongs here: offsets, cutting into lines, recognising a file by how it begins. What does not: rotation (`tail`).
"""

import hashlib
import os
import stat
from dataclasses import dataclass, field
from pathlib import Path

MAX_LINE_BYTES = 8 * 1024
READ_BYTES = 256 * 1024
MAX_LINES = 1_000  # of a look: what is made of them takes 20 microseconds each, which is how long the loop is held
HEAD_BYTES = 1024  # by which a file is recognised, wherever it was moved or copied to
SURE_HEAD_BYTES = 64  # a line of a log with its time: so much in common is no chance


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """How far a log was read: up to `offset` of the file that began with these bytes.

    The number of the file (`inode`) alone would not do: file systems give it to the next file again.
    """

    inode: int
    offset: int
    head_bytes: int = 0
    head_sha256: str = hashlib.sha256().hexdigest()


@dataclass(slots=True, kw_only=True)
class Look:
    """What one look gave.

    `cut` counts lines whose end was left out, `gaps` the spots where lines are missing, nobody knows how many.
    `is_more` says that there is more to be read at once.
    """

    lines: list[bytes] = field(default_factory=list)
    cut: int = 0
    gaps: int = 0
    is_more: bool = False
    trouble: str | None = None


class Reader:
    """An open file, at its start. `is_behind` says that there was more than was read; `looks` is for its keeper."""

    def __init__(self, path: Path) -> None:
        """Open a file, raising OSError where it is none that can be read."""
        # Not to wait for a writer, where the name is that of a pipe.
        self._file = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        status = os.fstat(self._file)
        if not stat.S_ISREG(status.st_mode):
            os.close(self._file)
            raise OSError(None, "not a regular file")
        self._identity = (status.st_dev, status.st_ino)
        self._state = (-1, -1)
        self._offset = 0
        self._head = b""
        self._is_in_cut_line = False
        self.is_behind = False
        self.looks = 0

    def close(self) -> None:
        """Close the file; it is no error to do so twice."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def is_file(self, status: os.stat_result) -> bool:
        """Whether this is the file with that status."""
        return self._identity == (status.st_dev, status.st_ino)

    def goes_on(self, status: os.stat_result) -> bool:
        """Whether the file, now with that status, was only appended to."""
        state = (status.st_size, status.st_mtime_ns)
        if state == self._state:
            return True
        self._state = state
        return status.st_size >= self._offset and os.pread(self._file, len(self._head), 0) == self._head

    def place(self) -> Place:
        """Return how far the file was read."""
        return Place(
            inode=self._identity[1],
            offset=self._offset,
            head_bytes=len(self._head),
            head_sha256=hashlib.sha256(self._head).hexdigest(),
        )

    def fits(self, place: Place) -> bool:
        """Whether a place is one of this file, or of one with the same lines."""
        if os.fstat(self._file).st_size < place.offset or place.head_bytes > HEAD_BYTES:
            return False
        if self._identity[1] != place.inode and place.head_bytes < SURE_HEAD_BYTES:
            return False
        head = os.pread(self._file, place.head_bytes, 0)
        return hashlib.sha256(head).hexdigest() == place.head_sha256

    def go_to(self, place: Place) -> None:
        """Go on at a place that fits."""
        self._go(place.offset)

    def go_to_start(self) -> None:
        """Begin again with the first line."""
        self._go(0)

    def go_to_end(self) -> None:
        """Go to the end, or to the start of the last line where that has no end yet."""
        size = os.fstat(self._file).st_size
        start = max(0, size - MAX_LINE_BYTES)
        last = os.pread(self._file, size - start, start)
        end_of_line = last.rfind(b"\n") + 1
        self._go(start + end_of_line if end_of_line or start == 0 else size)

    def read(self, look: Look) -> None:
        """Add the next lines to a look, as far as there is room in it."""
        room = MAX_LINES - len(look.lines)
        data = os.pread(self._file, READ_BYTES, self._offset) if room > 0 else b""
        self.is_behind = room <= 0 or len(data) == READ_BYTES
        if data:
            self._take(data, room, look)
        look.is_more = look.is_more or self.is_behind

    def read_rest(self, look: Look) -> None:
        """Add what is left without an end of line, for a file that nobody writes to any more."""
        rest = os.pread(self._file, MAX_LINE_BYTES, self._offset)
        if rest and not self._is_in_cut_line and b"\n" not in rest:
            look.lines.append(rest)

    def _take(self, data: bytes, room: int, look: Look) -> None:
        # A program that writes on where it was after its file was emptied leaves a hole, which reads as zeros.
        text = data.lstrip(b"\0") if data[0] == 0 else data
        if self._is_in_cut_line:
            _, end_of_line, text = text.partition(b"\n")
            self._is_in_cut_line = not end_of_line
        *lines, rest = text.split(b"\n", room)
        if len(lines) == room:
            self.is_behind = True
        elif len(rest) > MAX_LINE_BYTES:
            lines.append(rest)
            rest = b""
            self._is_in_cut_line = True
        look.cut += sum(len(line) > MAX_LINE_BYTES for line in lines)
        look.lines += [line[:MAX_LINE_BYTES] for line in (line.rstrip(b"\r") for line in lines) if line]
        self._go_on(self._offset + len(data) - len(rest))

    def _go(self, offset: int) -> None:
        self._head = b""
        self._is_in_cut_line = self.is_behind = False
        self._go_on(offset)

    def _go_on(self, offset: int) -> None:
        self._offset = offset
        if len(self._head) < min(offset, HEAD_BYTES):
            self._head = os.pread(self._file, min(offset, HEAD_BYTES), 0)
