"""The last steps: silence towards the outside during the whole check, and the person who agrees to it.

What belongs here: these two. What does not: watching the way outside (`daemon`), keeping a sign-off.
"""

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Sequence
from datetime import datetime, timedelta

from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.daemon.watch import KEEP_S
from pattress.egress.conversations import PAIRING
from pattress.model.closein import StepResult
from pattress.model.reading import Reading, Snapshot
from pattress.model.watching import WatchSource
from pattress.policy.account import known_ids, subject_of
from pattress.policy.outside import Outlook, device_findings

EXPORTED_S = 75.0  # a minute, and how often an exporter looks at its timeouts
LOGGED_S = 5.0  # a line of a log, or a look at the connection table
ALIVE = timedelta(seconds=2 * KEEP_S)  # within which a watch that runs has kept something

Look = Callable[[datetime], Awaitable[Outlook]]


def lag_s(sources: Iterable[WatchSource]) -> float:
    """Return how long after it was sent a packet has surely come from the slowest of the sources.

    An exporter tells of a flow at its timeout (a minute, as docs/watching.md asks for), and a flow without its other
    direction is held for the pairing time before it counts as tried.
    """
    has_flows = any(one.kind == "flows" for one in sources)
    return EXPORTED_S + PAIRING.total_seconds() if has_flows else LOGGED_S


async def until_told(stage: Stage, last_at: datetime, look: Look) -> Outlook:
    """Return what was seen, once all is on record that the module did up to a moment.

    Args:
        last_at: The moment.
        look: What was seen since the check began until a moment, as it is on record when it is called.

    Nobody is waited for who does not listen, or no more.
    """
    wait_s = lag_s(stage.site.watching.sources)
    until = last_at + timedelta(seconds=wait_s)
    outlook = await look(until)
    if not _is_awaited(outlook, stage.clock()):
        return outlook
    text = f"Waiting until the router has told of the last minutes (it takes {wait_s:.0f} s, or a little more) ..."
    async with stage.asking(Question(text=text, replies=("skip", "stop"))) as asking:
        while _is_awaited(outlook, stage.clock()):
            await asyncio.wait([asking], timeout=stage.pace.look_s)
            if asking.done():
                await stage.heeded(asking.result())
            outlook = await look(until)
    return outlook


def _is_awaited(outlook: Outlook, now: datetime) -> bool:
    """Whether a source is listened to, and has not come to the end of what is looked at."""
    last: dict[str, datetime] = {}
    for one in outlook.hearings:
        if one.listened_until is not None:
            last[one.source] = max(one.listened_until, last.get(one.source, one.listened_until))
    moments = [min(last[source.name], now) for source in outlook.sources if source.name in last]
    return any(now - ALIVE <= moment < outlook.until for moment in moments)


def outside(stage: Stage, outlook: Outlook) -> Ended:
    """The module was silent towards the outside while somebody listened all the time."""
    if not outlook.is_watched:
        return Ended(outcome="unverified", sentence="the site names no source that would tell: see [watch]")
    ids = known_ids(stage.device) if stage.device is not None else ()
    findings = list(device_findings(outlook, subject_of(stage.point, stage.device), ids, None))
    for outcome in ("broken", "unverified", "met"):
        remarks = dict.fromkeys(one.remark for one in findings if one.outcome == outcome and one.remark is not None)
        if remarks:
            is_deaf = outcome == "unverified" and not all(one.is_whole for one in outlook.coverage)
            hint = ". Does `pattress watch` run?" if is_deaf else ""
            return Ended(outcome=outcome, sentence="; ".join(remarks) + hint)
    raise AssertionError("a look at the outside always finds something")


async def sign_off(
    stage: Stage,
    who: str,
    results: Sequence[StepResult],
    not_done: Sequence[str],
    reading: Reading,
    settings: Ended,
) -> Ended:
    """The person agrees to what was found. What is broken nobody can agree to, nor to settings that nobody can read.

    `not_done` names the steps without a result; `settings` is how those of `reading` are judged, which is what drift is
    measured against from then on.
    """
    others = [one for one in results if one.kind != "sign-off"]
    broken = [one.step for one in others if one.outcome == "broken"]
    open_ones = [f"{one.step} ({one.outcome})" for one in others if one.outcome in ("unverified", "skipped")]
    open_ones += [f"{step} (not done)" for step in not_done]
    if broken:
        return Ended(outcome="broken", sentence=f"not as it should be: {', '.join(broken)}. Mend it and do those again")
    if not isinstance(reading, Snapshot):
        sentence = f"the module does not answer now, so that its settings cannot be signed off: {reading.reason}"
        return Ended(outcome="unverified", sentence=sentence)
    if settings.outcome == "broken":
        sentence = f"its settings are no longer as they should be: {settings.sentence}"
        return Ended(outcome="broken", sentence=sentence, facts=settings.facts)
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
