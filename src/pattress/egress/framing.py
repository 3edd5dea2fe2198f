"""Telling syslog messages in a stream apart (RFC 6587): bytes in, frames out.

What belongs here: the two framings of RFC 6587. What does not: the connection, and what a frame says (`syslog`).
"""

import re

MAX_FRAME_BYTES = 8192  # what is kept of one frame, and so all that a connection keeps: 8 KiB and one chunk
MAX_COUNTED_BYTES = 1_048_575  # a longer count is taken for text, so that it cannot make us deaf for long: 1 MiB


class Framer:
    """The frames of one connection. `cut` counts those that were over the most bytes or never came to an end.

    A sender may change its framing with every frame: one that begins with a count, a space and `<` is counted
    (section 3.4.1), any other ends with LF, or with NUL (section 3.4.2).
    """

    def __init__(self, max_bytes: int = MAX_FRAME_BYTES) -> None:
        self._max_bytes = max_bytes
        self._buffer = bytearray()
        self._skip_bytes = 0  # of a counted frame of which we have enough
        self._is_skipping_line = False
        self.cut = 0

    @property
    def is_amid_frame(self) -> bool:
        """Whether a frame has begun that has not ended."""
        return bool(self._buffer or self._skip_bytes or self._is_skipping_line)

    def feed(self, data: bytes) -> list[bytes]:
        """Return the frames that are complete now; empty ones are left out."""
        self._buffer += data
        frames: list[bytes] = []
        start = 0
        while (end := self._next(start, frames)) is not None:
            start = end
        del self._buffer[:start]
        return frames

    def finish(self) -> list[bytes]:
        """Return what is left when the connection ends: senders leave out the end of the last line."""
        left = bytes(self._buffer)
        is_partial = self._is_skipping_line or _COUNT.match(left) is not None
        self._buffer.clear()
        self._skip_bytes, self._is_skipping_line = 0, False
        if is_partial:
            self.cut += bool(left)
            return []
        return [left] if left.strip(_EMPTY) else []

    def _next(self, start: int, frames: list[bytes]) -> int | None:
        """Take one step from `start` and return where the next one begins, or None until more has come."""
        left = len(self._buffer) - start
        if not left:
            return None
        if self._skip_bytes:
            skipped = min(left, self._skip_bytes)
            self._skip_bytes -= skipped
            return start + skipped
        if self._is_skipping_line:
            return self._skip_line(start)
        if (empty := _TRAILERS.match(self._buffer, start)) is not None:
            return empty.end()
        found = _COUNT.match(self._buffer, start)
        if found is not None and int(found[1]) <= MAX_COUNTED_BYTES:
            return self._counted(found.end() - 1, int(found[1]), frames)
        if _MAY_BECOME_COUNT.fullmatch(self._buffer, start):
            return None
        return self._line(start, frames)

    def _counted(self, start: int, length: int, frames: list[bytes]) -> int | None:
        kept = min(length, self._max_bytes)
        if len(self._buffer) - start < kept:
            return None
        _put(frames, self._buffer[start : start + kept])
        self._skip_bytes = length - kept
        self.cut += length > kept
        return start + kept

    def _line(self, start: int, frames: list[bytes]) -> int | None:
        found = _TRAILER.search(self._buffer, start, start + self._max_bytes + 1)
        if found is not None:
            _put(frames, self._buffer[start : found.start()])
            return found.end()
        if len(self._buffer) - start <= self._max_bytes:
            return None
        _put(frames, self._buffer[start : start + self._max_bytes])
        self._is_skipping_line = True
        self.cut += 1
        return start + self._max_bytes

    def _skip_line(self, start: int) -> int:
        found = _TRAILER.search(self._buffer, start)
        if found is None:
            return len(self._buffer)
        self._is_skipping_line = False
        return found.end()


def _put(frames: list[bytes], frame: bytearray) -> None:
    if frame.strip(_EMPTY):
        frames.append(bytes(frame))


_EMPTY = b" \t\r\n\0"
_TRAILER = re.compile(rb"[\n\0]")
_TRAILERS = re.compile(rb"[\n\0]+")
_COUNT = re.compile(rb"([1-9][0-9]{0,6}) <")  # seven digits hold MAX_COUNTED_BYTES
_MAY_BECOME_COUNT = re.compile(rb"[1-9][0-9]{0,6} ?")
