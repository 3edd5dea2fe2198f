"""What the watching of the way to the outside has kept, for an audit.

What belongs here: asking the store for the time since the last audit. What does not: judging it (`policy.outside`).
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from pattress.egress.company import LEAST_HOSTS, LEAST_PORTS, PAST, unlike_before
from pattress.model.encounter import HOUR, Company
from pattress.model.site import Site
from pattress.policy.outside import Outlook
from pattress.store.store import Store

DAY = timedelta(days=1)
LONGEST = timedelta(days=7)  # that one audit looks back, where none ran for long


async def outlook_of(site: Site, store: Store, now: datetime) -> Outlook | None:
    """Return what was seen since the last audit, and in the last day at least; None where the site watches nothing."""
    if not site.watching.sources:
        return None
    last = await store.last_run()
    since = now - DAY if last is None else max(min(last.started_at, now - DAY), now - LONGEST)
    return Outlook(
        since=since,
        until=now,
        sources=site.watching.sources,
        encounters=await store.encounters(since=since, until=now),
        hearings=await store.hearings(since=since, until=now),
        unlike=_unlike(await store.company(now - PAST), since),
    )


async def close_outlook_of(site: Site, store: Store, since: datetime, until: datetime) -> Outlook:
    """Return what is on record of the minutes, or days, between two moments, and of what came after them."""
    sources = site.watching.sources
    longest = timedelta(seconds=max((one.silent_after_s for one in sources), default=0.0))
    return Outlook(
        since=since,
        until=until,
        sources=sources,
        encounters=await store.encounters(since=since),
        hearings=await store.hearings(since=min(since, until - longest)),
        is_close=True,
    )


def _unlike(company: Sequence[Company], since: datetime) -> dict[str, str]:
    """Return by device in words how an hour since a moment was unlike all that came before it."""
    past: dict[str, list[Company]] = {}
    for one in company:
        past.setdefault(one.device, []).append(one)
    found: dict[str, str] = {}
    for one in company:
        if one.hour + HOUR > since and (one.hosts > LEAST_HOSTS or one.ports > LEAST_PORTS):
            sentence = unlike_before(one, past[one.device])
            if sentence is not None:
                found.setdefault(one.device, sentence)
    return found
