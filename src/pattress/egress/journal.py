"""Following the systemd journal, through the program that reads it.

What belongs here: running `journalctl` and ending it, its JSON (systemd's Journal Export Formats). What does not: what
messages say. It is not the library, because that is no wheel, and its files change with every version.
"""

import asyncio
import contextlib
import json
import os
import signal
from collections.abc import AsyncIterator, Callable, Sequence
from typing import Any, cast

from pattress.egress.pausing import pause, retry_pauses
from pattress.egress.tally import Tallies
from pattress.model.errors import reason_of
from pattress.model.watching import WatchSource

MAX_LINE_BYTES = 8 * 1024
# Of one entry with its message alone. A message over 4,096 bytes comes as null; as numbers it takes 5 bytes for each.
MAX_ENTRY_BYTES = 64 * 1024
READ_BYTES = 64 * 1024  # at a turn: some 300 entries of 200 bytes, 30 microseconds each
MAX_WORDS_BYTES = 400
SETTLED_S = 3.0  # whoever refuses has done so by then
END_S = 2.0  # it ends within milliseconds; then it is killed

Sink = Callable[[WatchSource, bytes], None]
"""Takes one message, and the source it is from."""


class JournalFollower:
    """The messages of the kernel, or of one unit, as the journal gets them.

    With the `cursor` of an earlier run it goes on behind that entry, also of an earlier boot.
    """

    def __init__(
        self, source: WatchSource, tallies: Tallies, cursor: str | None = None, *, program: str = "journalctl"
    ) -> None:
        if source.journal is None:
            raise ValueError(f"source {source.name} has no journal")
        self._source = source
        self._journal = source.journal
        self._tallies = tallies
        self._cursor = cursor
        self._program = program
        self._has_heard = False

    def cursor(self) -> str | None:
        """Return the cursor of the last entry handed on, to be kept; None where there was none yet."""
        return self._cursor

    async def listen(self, sink: Sink, stop: asyncio.Event) -> None:
        """Hand each message to `sink` until `stop` is set. What fails is said in the tallies, and tried again."""
        pauses = retry_pauses()
        while not stop.is_set():
            self._has_heard = False
            try:
                await self._run(sink, stop)
            except OSError as error:
                what = f"{self._program} cannot be run ({reason_of(error)})"
                self._say(f"{what}. Install it, or name a file instead of the journal")
            if self._has_heard:
                pauses = retry_pauses()
            if not await pause(stop, next(pauses)):
                return

    def _command(self) -> Sequence[str]:
        begin = ["--lines=0"] if self._cursor is None else [f"--after-cursor={self._cursor}", "--no-tail"]
        # Not --dmesg, which means this boot only: a cursor may be of the one before.
        of = "_TRANSPORT=kernel" if self._journal == "kernel" else f"--unit={self._journal}"
        fixed = ("--follow", "--boot=all", "--output=json", "--output-fields=MESSAGE", "--no-pager")
        return [self._program, *fixed, *begin, of]

    async def _run(self, sink: Sink, stop: asyncio.Event) -> None:
        """Run the program until it ends or `stop` is set."""
        async with _running(self._command()) as (entries, troubles), asyncio.TaskGroup() as group:
            words = bytearray()
            reading = group.create_task(self._read(entries, sink), name="journal: entries")
            hearing = group.create_task(self._hear(troubles, words), name="journal: troubles")
            stopping = group.create_task(stop.wait(), name="journal: end")
            await asyncio.wait((reading, stopping), timeout=SETTLED_S, return_when=asyncio.FIRST_COMPLETED)
            if not words and not reading.done():
                self._say(None)
            await asyncio.wait((reading, stopping), return_when=asyncio.FIRST_COMPLETED)
            if reading.done():
                await asyncio.wait((hearing,), timeout=END_S)  # why it ended
                self._note_end(bytes(words))
            for task in (reading, hearing, stopping):
                task.cancel()

    async def _read(self, stream: asyncio.StreamReader, sink: Sink) -> None:
        rest, is_cut = b"", False
        while chunk := await stream.read(READ_BYTES):
            *lines, rest = (rest + chunk).split(b"\n")
            for line in lines:
                if not is_cut:
                    self._take(line, sink)
                is_cut = False
            if len(rest) > MAX_ENTRY_BYTES:
                self._tallies.of(self._source.name).refused += not is_cut
                rest, is_cut = b"", True

    def _take(self, line: bytes, sink: Sink) -> None:
        tally = self._tallies.of(self._source.name)
        cursor, message = entry_of(line)
        if cursor is not None:
            self._cursor = cursor
            self._has_heard = True
            tally.trouble = None
        if message is None:
            tally.refused += 1
            return
        tally.heard += 1
        tally.refused += len(message) > MAX_LINE_BYTES
        sink(self._source, message[:MAX_LINE_BYTES])

    async def _hear(self, stream: asyncio.StreamReader, words: bytearray) -> None:
        while chunk := await stream.read(MAX_WORDS_BYTES):
            words += chunk
            del words[:-MAX_WORDS_BYTES]
            self._say(f"{self._program} says: {_shown(bytes(words))}")

    def _note_end(self, words: bytes) -> None:
        if self._cursor is not None and not self._has_heard and b"cursor" in words:
            self._cursor = None  # of a journal that is gone: what was between is missing, nobody knows how much
            self._tallies.of(self._source.name).lost += 1
        said = _shown(words)
        self._say(f"{self._program} has ended" + (f" and says: {said}" if said else ""))

    def _say(self, trouble: str | None) -> None:
        self._tallies.of(self._source.name).trouble = trouble


def entry_of(line: bytes) -> tuple[str | None, bytes | None]:
    """Return the cursor and the message of an entry, each None where it has none.

    A message that is no text comes as an array of bytes, a field that is there more than once as an array of those.
    """
    try:
        entry: Any = json.loads(line)
    except (ValueError, RecursionError):
        return None, None
    if not isinstance(entry, dict):
        return None, None
    cursor, message = entry.get("__CURSOR"), entry.get("MESSAGE")
    if isinstance(message, list) and message and isinstance(message[0], str | list):
        message = message[0]
    return cursor if isinstance(cursor, str) else None, _bytes_of(message)


def _bytes_of(message: Any) -> bytes | None:
    if isinstance(message, str):
        return message.encode(errors="replace")
    if isinstance(message, list):
        try:
            return bytes(message)
        except (TypeError, ValueError):
            return None
    return None


@contextlib.asynccontextmanager
async def _running(command: Sequence[str]) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamReader]]:
    """Run a program, which is over when this is, and give what it prints and what it complains of."""
    process = await asyncio.create_subprocess_exec(
        *command,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env={**os.environ, "LC_ALL": "C", "SYSTEMD_COLORS": "0"},
        start_new_session=True,  # what it may have started ends with it
    )
    try:
        yield cast(asyncio.StreamReader, process.stdout), cast(asyncio.StreamReader, process.stderr)
    finally:
        await _end(process)


async def _end(process: asyncio.subprocess.Process) -> None:
    _signal(process, signal.SIGTERM)
    try:
        async with asyncio.timeout(END_S):
            await process.communicate()  # which empties the pipes, or else they are never closed
    except BaseException as error:
        _signal(process, signal.SIGKILL)
        await process.communicate()
        if not isinstance(error, TimeoutError):
            raise


def _signal(process: asyncio.subprocess.Process, number: signal.Signals) -> None:
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, number)


def _shown(words: bytes) -> str:
    """Return words as one printable line."""
    text = " ".join(words.decode(errors="replace").split())
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)
