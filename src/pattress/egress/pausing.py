"""Waiting that ends at once when it is over.

What belongs here: pauses of listeners. What does not: deadlines of single requests.
"""

import asyncio
import random
from collections.abc import Iterator

FIRST_RETRY_S = 1.0
LAST_RETRY_S = 60.0


async def pause(stop: asyncio.Event, seconds: float) -> bool:
    """Whether it went on for that long, rather than that `stop` was set."""
    try:
        async with asyncio.timeout(seconds):
            await stop.wait()
    except TimeoutError:
        return not stop.is_set()
    return False


def retry_pauses() -> Iterator[float]:
    """Yield how long to wait before each attempt, in seconds: twice as long each time up to a minute, with jitter."""
    seconds = FIRST_RETRY_S
    while True:
        yield seconds * random.uniform(0.75, 1.25)  # noqa: S311 - so that many do not come back at one moment
        seconds = min(seconds * 2, LAST_RETRY_S)
