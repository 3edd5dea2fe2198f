"""One person, asked once for what several points wait for together.

What belongs here: sharing a question and its reply, one question at a time, and not talking into it. What does not: the
questions.
"""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from pattress.closein.talk import Question, Reply, Talk
from pattress.model.closein import StepResult

Answer = TypeVar("Answer")


class SharedTalk:
    """A talk for one round of a step at several points: the same words are put once, and the reply is everybody's.

    A question is put when each point either waits for an answer or has its result: what the person then does, like
    cutting the power, finds every module looked at. Different words are put one after another. A point that comes to a
    question after it was answered gets that answer; the next round has a talk of its own and asks anew. What is said
    while a question is open is shown when that is over: to put the question again behind it would read as an
    instruction to do the same once more.
    """

    def __init__(self, talk: Talk, points: int) -> None:
        self._talk = talk
        self._without_result = points
        self._turn = asyncio.Lock()  # held while a question is open to the person
        self._questions: dict[tuple[str, object], _Shared] = {}
        self._held: list[Callable[[], None]] = []
        self._said: set[str] = set()

    def begin(self, point: str, title: str) -> None:
        """Show that a step begins at a point."""
        self._show(lambda: self._talk.begin(point, title))

    def say(self, text: str) -> None:
        """Say how things stand, the same words once."""
        if text not in self._said:
            self._said.add(text)
            self._show(lambda: self._talk.say(text))

    def result(self, point: str, result: StepResult) -> None:
        """Show how a step ended at a point, which asks nothing more."""
        self._without_result -= 1
        self._release()
        self._show(lambda: self._talk.result(point, result))

    async def ask(self, question: Question) -> Reply:
        """Return the reply to a question, which may have been put already."""
        return await self._shared(("ask", question), lambda: self._talk.ask(question))

    async def confirm(self, caution: str) -> bool:
        """Return whether a caution is heeded, which may have been confirmed already."""
        return await self._shared(("confirm", caution), lambda: self._talk.confirm(caution))

    async def words(self, prompt: str) -> str:
        """Return what the person wrote, which may be an answer to the same prompt."""
        return await self._shared(("words", prompt), lambda: self._talk.words(prompt))

    def _show(self, show: Callable[[], None]) -> None:
        if self._turn.locked():
            self._held.append(show)
        else:
            show()

    async def _shared(self, key: tuple[str, object], put: Callable[[], Awaitable[Answer]]) -> Answer:
        """Wait with the others for an answer. The last one that needs it no more takes the question back."""
        if key not in self._questions:
            is_due = asyncio.Event()
            task = asyncio.create_task(self._in_turn(is_due, put), name="ask the person for several points")
            self._questions[key] = _Shared(task=task, is_due=is_due)
        shared = self._questions[key]
        shared.waiting += 1
        self._release()
        try:
            answer: Answer = await asyncio.shield(shared.task)
        finally:
            shared.waiting -= 1
            if shared.waiting == 0 and not shared.task.done():
                del self._questions[key]
                shared.task.cancel()
                await asyncio.gather(shared.task, return_exceptions=True)
        return answer

    def _release(self) -> None:
        """Let the questions be put, if there is no point left that could come to one."""
        unanswered = [one for one in self._questions.values() if not one.task.done()]
        if sum(one.waiting for one in unanswered) >= self._without_result:
            for one in unanswered:
                one.is_due.set()

    async def _in_turn(self, is_due: asyncio.Event, put: Callable[[], Awaitable[Answer]]) -> Answer:
        await is_due.wait()
        async with self._turn:
            try:
                return await put()
            finally:
                held, self._held = self._held, []
                for show in held:
                    show()


@dataclass(slots=True, kw_only=True)
class _Shared:
    """A question that was put or is yet to be, and how many wait for its answer."""

    task: asyncio.Task[Any]
    is_due: asyncio.Event
    waiting: int = 0
