"""One person, asked once for what several points wait for together.

What belongs here: sharing a question and its reply. What does not: the questions.
"""

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, TypeVar

from pattress.closein.talk import Question, Reply, Talk
from pattress.model.closein import StepResult

Answer = TypeVar("Answer")


class SharedTalk:
    """A talk in which the same words are put to the person once, and their reply is everybody's."""

    def __init__(self, talk: Talk) -> None:
        self._talk = talk
        self._asked: dict[str, asyncio.Task[Any]] = {}
        self._said: set[str] = set()

    def begin(self, point: str, title: str) -> None:
        """Show that a step begins at a point."""
        self._talk.begin(point, title)

    def say(self, text: str) -> None:
        """Say how things stand, the same words once."""
        if text not in self._said:
            self._said.add(text)
            self._talk.say(text)

    def result(self, point: str, result: StepResult) -> None:
        """Show how a step ended at a point."""
        self._talk.result(point, result)

    async def ask(self, question: Question) -> Reply:
        """Return the reply to a question, which may have been put already."""
        return await self._once(f"ask {question.text}", lambda: self._talk.ask(question))

    async def confirm(self, caution: str) -> bool:
        """Return whether a caution is heeded, which may have been confirmed already."""
        return await self._once(f"confirm {caution}", lambda: self._talk.confirm(caution))

    async def words(self, prompt: str) -> str:
        """Return what the person wrote, which may be an answer to the same prompt."""
        return await self._once(f"words {prompt}", lambda: self._talk.words(prompt))

    def close(self) -> None:
        """Take back what was asked and needs no answer any more."""
        for task in self._asked.values():
            task.cancel()

    async def _once(self, key: str, put: Callable[[], Awaitable[Answer]]) -> Answer:
        if key not in self._asked:
            self._asked[key] = asyncio.create_task(_awaited(put), name=key)
        answer: Answer = await asyncio.shield(self._asked[key])
        return answer


def _awaited(put: Callable[[], Awaitable[Answer]]) -> Coroutine[Any, Any, Answer]:
    async def run() -> Answer:
        return await put()

    return run()
