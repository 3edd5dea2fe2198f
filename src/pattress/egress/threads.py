"""Work that blocks, out of the loop's way.

What belongs here: waiting for it. What does not: the work.
"""

import asyncio
from collections.abc import Callable
from typing import TypeVar

Result = TypeVar("Result")


async def in_thread(work: Callable[[], Result]) -> Result:
    """Return what a piece of work gave.

    Where this is cancelled, the work is over before that goes on: what it uses is closed then.
    """
    running = asyncio.get_running_loop().run_in_executor(None, work)
    try:
        return await asyncio.shield(running)
    except asyncio.CancelledError:
        await asyncio.wait([running])
        raise
