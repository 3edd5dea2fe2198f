"""Pauses that end at once, and pauses between attempts."""

import asyncio
from itertools import islice

from pattress.egress.pausing import LAST_RETRY_S, pause, retry_pauses


async def test_a_pause_goes_on_for_as_long_as_nothing_stops_it() -> None:
    went_on = await pause(asyncio.Event(), 0.001)

    assert went_on


async def test_a_pause_ends_when_it_is_stopped() -> None:
    stop = asyncio.Event()
    asyncio.get_running_loop().call_soon(stop.set)

    went_on = await asyncio.wait_for(pause(stop, 3600.0), 1.0)

    assert not went_on


def test_attempts_are_ever_further_apart_up_to_a_minute() -> None:
    pauses = list(islice(retry_pauses(), 12))

    assert 0.75 <= pauses[0] <= 1.25
    assert 1.5 <= pauses[1] <= 2.5
    assert all(0.75 * LAST_RETRY_S <= one <= 1.25 * LAST_RETRY_S for one in pauses[6:])
