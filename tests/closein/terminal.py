"""A program at a real pseudo-terminal: what it shows is read as it comes, what a person types is written."""

import asyncio
import codecs
import fcntl
import os
import pty
import struct
import termios
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager

ROWS, COLUMNS = 40, 100
READ_BYTES = 4_096
STOP_S = 5


class Terminal:
    """The side at which the person sits."""

    def __init__(self, descriptor: int, process: asyncio.subprocess.Process) -> None:
        self._descriptor = descriptor
        self._process = process
        self._shown: asyncio.Queue[str | None] = asyncio.Queue()
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        os.set_blocking(descriptor, False)
        asyncio.get_running_loop().add_reader(descriptor, self._read)

    async def read(self) -> str | None:
        """Return what was shown since the last time, None once the program has left the terminal."""
        return await self._shown.get()

    def peek(self) -> bool:
        """Return whether something was shown that has not been read."""
        return not self._shown.empty()

    def type(self, line: str) -> None:
        """Type a line."""
        os.write(self._descriptor, line.encode() + b"\n")

    async def status(self) -> int:
        """Return the exit status, once the program has ended."""
        return await self._process.wait()

    def close(self) -> None:
        asyncio.get_running_loop().remove_reader(self._descriptor)
        os.close(self._descriptor)

    def _read(self) -> None:
        try:
            data = os.read(self._descriptor, READ_BYTES)
        except BlockingIOError:
            return
        except OSError:  # how Linux says that the other side is closed
            data = b""
        if not data:
            asyncio.get_running_loop().remove_reader(self._descriptor)
        self._shown.put_nowait(self._decoder.decode(data) if data else None)


@asynccontextmanager
async def at_terminal(words: Sequence[str], environment: Mapping[str, str]) -> AsyncIterator[Terminal]:
    """Run a program at a terminal of its own. It is killed if it is still there at the end of the block."""
    ours, its = pty.openpty()
    try:
        fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        process = await asyncio.create_subprocess_exec(
            *words, stdin=its, stdout=its, stderr=its, env={**os.environ, **environment}, start_new_session=True
        )
    except BaseException:
        os.close(ours)
        raise
    finally:
        os.close(its)
    terminal = Terminal(ours, process)
    try:
        yield terminal
    finally:
        if process.returncode is None:
            process.kill()
        async with asyncio.timeout(STOP_S):
            await process.wait()
        terminal.close()
