"""A process of its own that keeps one audit after another and says each thing once it is kept. Started by `killing`.

It says `begin K` before it begins an audit, and `WORD K` after something was acknowledged; `refused K: ...` where the
store said no.
"""

import asyncio
import os
import sys
from collections.abc import Awaitable
from pathlib import Path

from pattress.model.errors import StoreError
from pattress.store.store import Store

from . import world


def say(text: str) -> None:
    os.write(1, f"{text}\n".encode())


async def attempt(word: str, k: int, work: Awaitable[object]) -> bool:
    try:
        await work
    except StoreError as error:
        say(f"refused {k}: {error.what}")
        return False
    say(f"{word} {k}")
    return True


async def audit(store: Store, k: int) -> None:
    run = await store.begin_run(world.at(k), str(k))
    await store.keep_audit(
        run,
        devices=world.devices(k),
        readings=world.readings(k),
        placed=world.placed(k),
        findings=world.findings(k),
        ended_at=world.ended_at(k),
        counts={"met": k},
    )


async def watched(store: Store, k: int) -> None:
    await store.keep_encounters(world.encounters(k), [world.hearing(k)], [], told=[world.told(k)])


async def step(store: Store, k: int) -> None:
    """One more try in the check that is open, which now and then ends."""
    check = await store.open_close_in("hall-lights")
    number = check.id if check else await store.begin_close_in("hall-lights", "Wren Okafor", world.at(k))
    await store.keep_samples(number, "heat", world.samples(k, 2))
    await store.keep_step(number, world.step(k))
    if k % 20 == 0:
        await store.end_close_in(number, world.ended_at(k), is_signed_off=True)


async def samples(store: Store, k: int) -> None:
    """A step that never gets a result."""
    number = await store.begin_close_in(f"point-of-{k}", "Wren Okafor", world.at(k))
    await store.keep_samples(number, "radio", world.samples(k, 3))


async def readings(store: Store) -> None:
    last = await store.last_run()
    assert last is not None
    await store.keep_readings(last.id, world.readings_between(int(last.policy_digest)))


async def main(path: Path, first: int) -> None:
    async with Store.open(path) as store:
        for k in range(first, first + 1_000_000):
            say(f"begin {k}")
            if await attempt("audit", k, audit(store, k)):
                await attempt("readings", k, readings(store))
            if k % 2 == 0:
                await attempt("encounters", k, watched(store, k))
            await attempt("step", k, step(store, k))
            if k % 5 == 0:
                await attempt("samples", k, samples(store, k))
            if k % 3 == 0:
                await attempt("sign-off", k, store.sign_off([world.sign_off(k)]))
            if k % 10 == 0:
                await attempt("thin", k, store.thin(world.ended_at(k), world.RETENTION))


if __name__ == "__main__":
    try:
        asyncio.run(main(Path(sys.argv[1]), int(sys.argv[2])))
    except StoreError as error:
        say(f"refused 0: {error.what}")
        sys.exit(3)
