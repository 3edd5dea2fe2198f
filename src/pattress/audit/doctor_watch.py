"""The doctor's look at the watching of the way to the outside: does it run, is each source heard, can it be lossless?

What belongs here: what the database and this host show of it. What does not: listening.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Literal

from pattress.model.diagnosis import Diagnosis
from pattress.model.encounter import HOUR, Hearing
from pattress.model.errors import StoreError
from pattress.model.site import Site
from pattress.model.watching import WatchSource
from pattress.store.store import Store

RUNNING = timedelta(minutes=5)  # within which a watch that runs has kept something: it does each minute
WANTED_BUFFER_BYTES = 1 << 20  # a burst of some 700 full datagrams
RMEM_MAX = Path("/proc/sys/net/core/rmem_max")
ACCOUNTING = Path("/proc/sys/net/netfilter/nf_conntrack_acct")


async def examine_watching(site: Site, store_file: Path, now: datetime) -> list[Diagnosis]:
    """Return one diagnosis for each thing that watching this site needs; none where it watches nothing."""
    sources = site.watching.sources
    if not sources:
        return []
    found = [*_flows(sources), *_connections(sources)]
    longest = max(timedelta(seconds=one.silent_after_s) for one in sources)
    try:
        async with Store.open(store_file, read_only=True) as store:
            hearings = await store.hearings(since=now - longest - HOUR, until=now)
    except StoreError as error:
        return [*found, _watching("unverified", f"the database tells nothing of it: {error.what}")]
    found.append(_running(hearings, now))
    found.extend(_heard(source, hearings, now) for source in sources)
    return found


def _running(hearings: Sequence[Hearing], now: datetime) -> Diagnosis:
    """Whether somebody listens now, as far as what was kept of it tells."""
    last = max((one.listened_until for one in hearings if one.listened_until is not None), default=None)
    if last is None:
        return _watching("broken", "nobody has listened of late")
    if now - last > RUNNING:
        return _watching("broken", f"nobody has listened since {last.astimezone():%Y-%m-%d %H:%M}")
    return _watching("met", "somebody listens")


def _watching(outcome: Literal["met", "broken", "unverified"], found: str) -> Diagnosis:
    return Diagnosis(
        name="watch",
        title="The way to the outside is watched",
        outcome=outcome,
        found=found,
        remedy="Run `pattress watch`, as a service that is always on.",
    )


def _heard(source: WatchSource, hearings: Sequence[Hearing], now: datetime) -> Diagnosis:
    since = now - timedelta(seconds=source.silent_after_s)
    heard = [
        one for one in hearings if one.source == source.name and one.heard_at is not None and one.heard_at >= since
    ]
    count, lost = sum(one.heard for one in heard), sum(one.lost for one in heard)
    hours = f"{source.silent_after_s / 3600:g} h"
    return Diagnosis(
        name=f"watch-{source.name}",
        title=f"{source.name} is heard",
        outcome="met" if heard else "broken",
        found=f"{count} records or lines within {hours}, {lost} lost" if heard else f"nothing came within {hours}",
        remedy="See that the router sends to the address and port of `[watch]`, from the address that the source "
        "names; that no packet filter of this host drops it; and that its timeouts are short (60 s for what goes on).",
    )


def _flows(sources: Sequence[WatchSource]) -> Iterator[Diagnosis]:
    if not any(one.kind == "flows" for one in sources):
        return
    has_numpy = find_spec("numpy") is not None
    yield Diagnosis(
        name="numpy",
        title="Flow export can be decoded",
        outcome="met" if has_numpy else "broken",
        found="NumPy is there" if has_numpy else "NumPy is not installed here",
        remedy="pip install numpy. On 32-bit ARM, which it has no wheels for, watch the router's log instead.",
    )
    most = _number(RMEM_MAX)
    if most is not None:
        is_enough = most >= WANTED_BUFFER_BYTES
        yield Diagnosis(
            name="receive-buffer",
            title="A burst of flow export fits into the receive buffer",
            outcome="met" if is_enough else "unverified",
            found=f"net.core.rmem_max is {most}",
            remedy=f"sysctl -w net.core.rmem_max={8 * WANTED_BUFFER_BYTES}, and keep it in /etc/sysctl.d.",
        )


def _connections(sources: Sequence[WatchSource]) -> Iterator[Diagnosis]:
    if not any(one.kind == "connections" for one in sources):
        return
    counts = _number(ACCOUNTING)
    yield Diagnosis(
        name="connection-counts",
        title="The connection table counts packets",
        outcome="met" if counts else "unverified",
        found="it does" if counts else "it does not, so that nothing can be said of how much went where",
        remedy="sysctl -w net.netfilter.nf_conntrack_acct=1; it holds for connections that begin after that.",
    )


def _number(path: Path) -> int | None:
    try:
        return int(path.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return None
