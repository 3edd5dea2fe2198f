"""The last steps: silence towards the outside during the whole check, and the person who agrees to it.

What belongs here: these two. What does not: watching the way outside (`daemon`), keeping a sign-off.
"""

import asyncio
from collections.abc import Sequence
from datetime import datetime

from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.daemon.watch import NEWS_S, TELL_S
from pattress.egress.conversations import PAIRING
from pattress.model.closein import StepResult
from pattress.model.encounter import Encounter, Hearing
from pattress.model.watching import WatchSource
from pattress.policy.outside import encounters_words

EXPORTED_S = 75.0  # a minute, and how often an exporter looks at its timeouts
LOGGED_S = 5.0  # a line of a log, or a look at the connection table


def lag_s(sources: Sequence[WatchSource]) -> float:
    """Return how long after it was sent a packet is surely on record, by the slowest of the sources.

    An exporter tells of a flow at its timeout (a minute, as docs/watching.md asks for), and a flow without its other
    direction is held for the pairing time before it counts as tried.
    """
    has_flows = any(one.kind == "flows" for one in sources)
    return (EXPORTED_S + PAIRING.total_seconds() if has_flows else LOGGED_S) + NEWS_S + TELL_S


async def until_told(stage: Stage, last_at: datetime) -> None:
    """Wait until all that the module did up to a moment is on record."""
    wait_s = lag_s(stage.site.watching.sources)
    if not stage.site.watching.sources or (stage.clock() - last_at).total_seconds() >= wait_s:
        return
    text = f"Waiting until the router has told of the last minutes ({wait_s:.0f} s after the last step) ..."
    asking = asyncio.create_task(stage.talk.ask(Question(text=text, replies=("skip", "stop"))), name="ask the person")
    try:
        while (stage.clock() - last_at).total_seconds() < wait_s:
            await asyncio.wait([asking], timeout=stage.pace.poll_s)
            if asking.done():
                await stage.heeded(asking.result())
    finally:
        asking.cancel()
        await asyncio.gather(asking, return_exceptions=True)


def outside(stage: Stage, began_at: datetime, encounters: Sequence[Encounter], hearings: Sequence[Hearing]) -> Ended:
    """The module was silent towards the outside since the check began, as far as anybody listened."""
    device = stage.device
    ids = {f"address:{address}" for address, _ in device.addresses} | {device.id} if device is not None else set()
    own = [one for one in encounters if one.device in ids and one.last_at >= began_at]
    if own:
        return Ended(outcome="broken", sentence=encounters_words(own))
    if not stage.site.watching.sources:
        return Ended(outcome="unverified", sentence="the site names no source that would tell: see [watch]")
    shows = {one.name for one in stage.site.watching.sources if one.kind != "names"}
    heard = [one for one in hearings if one.source in shows and one.heard and one.listened_s > 0]
    if not heard:
        return Ended(outcome="unverified", sentence="no source was heard meanwhile: does `pattress watch` run?")
    names = ", ".join(sorted({one.source for one in heard}))
    return Ended(outcome="met", sentence=f"nothing was seen of it; {names} listened")


async def sign_off(stage: Stage, who: str, results: Sequence[StepResult]) -> Ended:
    """The person agrees to what was found. What is broken nobody can agree to."""
    others = [one for one in results if one.kind != "sign-off"]
    broken = [one.step for one in others if one.outcome == "broken"]
    open_ones = [f"{one.step} ({one.outcome})" for one in others if one.outcome in ("unverified", "skipped")]
    if broken:
        return Ended(outcome="broken", sentence=f"not as it should be: {', '.join(broken)}. Mend it and do those again")
    gaps = f" Not shown: {', '.join(open_ones)}." if open_ones else ""
    reply = await stage.ask(
        Question(
            text=f"{who}: may the wall be closed over {stage.point.name}, with all that was found?{gaps}",
            replies=("yes", "no", "stop"),
        )
    )
    if reply != "yes":
        return Ended(outcome="broken", sentence=f"{who} does not agree")
    return Ended(outcome="met", sentence=f"{who} agrees.{gaps}")
