"""The last steps: silence towards the outside during the whole check, and the person who agrees to it.

What belongs here: these two. What does not: watching the way outside (`daemon`), keeping a sign-off.
"""

from collections.abc import Sequence
from datetime import datetime

from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.model.closein import StepResult
from pattress.model.encounter import Encounter, Hearing
from pattress.policy.outside import encounters_words


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
