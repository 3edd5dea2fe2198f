"""The talk of a close-in check at a terminal: what is asked on stdout, replies a line each on stdin.

What belongs here: printing and reading lines. What does not: what is asked.
"""

import asyncio
import os
import signal
import sys
import textwrap

from pattress.cli.output import give, style
from pattress.closein.talk import Question, Reply, StopCheckError
from pattress.model.closein import StepResult
from pattress.model.errors import UsageError
from pattress.report.visible import visible

READ_BYTES = 1024
MAX_LINE = 1024  # characters of a reason; the rest is left out
_MEANINGS: dict[Reply, str] = {
    "done": "done",
    "yes": "yes",
    "no": "no",
    "skip": "skip it",
    "again": "again",
    "on": "go on all the same",
    "stop": "stop here, and go on later",
}


class TerminalTalk:
    """A person at a terminal. Used in an `async with` block, in which stdin is ours.

    Raises:
        UsageError: At the beginning of the block, where nobody can answer on stdin.
    """

    def __init__(self) -> None:
        self._lines: asyncio.Queue[str | None] = asyncio.Queue()
        self._part = b""
        self._is_stale = False

    async def __aenter__(self) -> "TerminalTalk":
        # Left blocking: a terminal is one file for reading and writing, and what is there is read without waiting.
        loop = asyncio.get_running_loop()
        try:
            loop.add_reader(sys.stdin.fileno(), self._read)
        except (AttributeError, OSError, ValueError) as error:  # closed, a file or /dev/null: never ready to be read
            raise UsageError(
                "nobody can answer: the input is no terminal",
                where="pattress close-in",
                next_step="Run it in a terminal: it asks the person at the box.",
            ) from error
        loop.add_signal_handler(signal.SIGHUP, self._end)  # a phone that lost its way to us: stop, and keep all
        return self

    async def __aexit__(self, *_: object) -> None:
        loop = asyncio.get_running_loop()
        loop.remove_reader(sys.stdin.fileno())
        loop.remove_signal_handler(signal.SIGHUP)

    def begin(self, point: str, title: str) -> None:
        """Print the head of a step."""
        give("\n" + style().strong("\n".join(style().wrapped(f"{point}  {title}", hanging=2))))

    def say(self, text: str) -> None:
        """Print a line."""
        give(_wrapped(text))

    def result(self, point: str, result: StepResult) -> None:
        """Print how a step ended."""
        outcome = None if result.outcome == "skipped" else result.outcome
        words = {"unverified": "could not be checked"}.get(result.outcome, result.outcome)
        give(style().strong(_wrapped(f"{words.upper()} {point} {result.step}: {result.sentence}"), outcome))

    async def ask(self, question: Question) -> Reply:
        """Print a question and return the reply. Where it is taken back, the line is ended.

        An empty line stands for the usual reply where that is to go on, never where it claims or leaves out something.
        """
        if await self._stopped_ahead():
            return "stop"
        give(_wrapped(f"> {question.text}"))
        replies = ", ".join(
            f"{reply} ({_MEANINGS[reply]})" if reply != _MEANINGS[reply] else reply for reply in question.replies
        )
        while True:
            reply = await self._asked(f"{_wrapped(f'{replies}:')} ")
            if reply is None:
                return "stop"
            usual = question.replies[0]
            if reply == "" and usual in ("done", "again"):
                return usual
            meant = [one for one in question.replies if reply and one.startswith(reply.lower())]
            if len(meant) == 1:
                return meant[0]
            give(_wrapped(f"Please answer one of: {', '.join(question.replies)}."))

    async def confirm(self, caution: str) -> bool:
        """Print a caution, and return whether the person writes yes: an empty line is not enough.

        Raises:
            StopCheckError: If the person stops here, or is gone.
        """
        if await self._stopped_ahead():
            raise StopCheckError
        give(style().strong(_wrapped(f"CAUTION: {caution}"), "broken"))
        while True:
            reply = await self._asked("  Heeded? yes, no, stop: ")
            if reply is None or reply.lower() == "stop":
                raise StopCheckError
            if reply.lower() in ("n", "no"):
                return False
            if reply.lower() in ("y", "yes"):
                return True

    async def words(self, prompt: str) -> str:
        """Return what the person writes.

        Raises:
            StopCheckError: If the person stops here, or is gone.
        """
        if await self._stopped_ahead():
            raise StopCheckError
        reply = await self._asked(f"  {prompt} ")
        if reply is None or reply.lower() == "stop":
            raise StopCheckError
        return reply

    async def _stopped_ahead(self) -> bool:
        """Forget what was typed before a question was shown, and return whether it was to stop.

        It answers nothing, and heeds no caution that nobody has read. Lines that come by a pipe are all written ahead.
        """
        if not sys.stdin.isatty():
            return False
        known = -1
        while self._lines.qsize() != known:  # a terminal gives a line at a time
            known = self._lines.qsize()
            for _ in range(2):  # the loop sees that something was typed, and reads it
                await asyncio.sleep(0)
        return "stop" in self._typed()

    def _typed(self) -> list[str]:
        typed = []
        while not self._lines.empty():
            line = self._lines.get_nowait()
            if line is None:  # gone, and stays so
                self._lines.put_nowait(None)
                break
            typed.append(line.strip().lower())
        return typed

    async def _asked(self, prompt: str) -> str | None:
        """Return a line, None at the end of the input."""
        if self._is_stale:  # what was typed to a question that was taken back answers no other
            self._typed()
        self._is_stale = False
        sys.stdout.write(prompt)
        sys.stdout.flush()
        try:
            line = await self._lines.get()
        except asyncio.CancelledError:
            self._is_stale = True
            sys.stdout.write("\n")
            sys.stdout.flush()
            raise
        if line is None:
            self._lines.put_nowait(None)
            sys.stdout.write("\n")
        return None if line is None else line.strip()[:MAX_LINE]

    def _end(self) -> None:
        asyncio.get_running_loop().remove_reader(sys.stdin.fileno())
        self._lines.put_nowait(None)

    def _read(self) -> None:
        data = os.read(sys.stdin.fileno(), READ_BYTES)
        if not data:
            self._end()
            return
        *lines, self._part = (self._part + data).split(b"\n")
        self._part = self._part[-4 * MAX_LINE :]
        for line in lines:
            self._lines.put_nowait(line.decode("utf-8", "replace"))


def _wrapped(text: str) -> str:
    return textwrap.fill(
        visible(text), style().width, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
