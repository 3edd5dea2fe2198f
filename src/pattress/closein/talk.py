"""What the check says to the person at the box, and what it asks, whatever they hold in their hand.

What belongs here: the nouns, and the protocol that a terminal or a page fulfils. What does not: either of these.
"""

from dataclasses import dataclass
from typing import Literal, Protocol

from pattress.model.closein import StepResult

Reply = Literal["done", "yes", "no", "skip", "again", "on", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that the person is asked to do or to tell. `replies` are those that make sense, the usual one first."""

    text: str
    replies: tuple[Reply, ...] = ("done", "skip", "stop")


class Talk(Protocol):
    """The person at the box."""

    def begin(self, point: str, title: str) -> None:
        """Show that a step begins."""

    def say(self, text: str) -> None:
        """Say how things stand."""

    def result(self, point: str, result: StepResult) -> None:
        """Show how a step ended."""

    async def ask(self, question: Question) -> Reply:
        """Return the reply. May be cancelled when what the module does is answer enough."""

    async def confirm(self, caution: str) -> bool:
        """Show what is dangerous now, and return whether the person says that it is heeded; StopCheckError as below."""

    async def words(self, prompt: str) -> str:
        """Return what the person writes in their own words; empty where nothing.

        Raises:
            StopCheckError: If the person stops here instead, or is gone.
        """


class StopCheckError(Exception):
    """The person stops here; what was done is kept, and the check can be taken up again."""


class SkipStepError(Exception):
    """The person leaves this step out, for a reason that they give."""
