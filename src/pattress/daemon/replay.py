"""A capture of flow export, saved datagrams or a log file, judged as if it came now.

What belongs here: feeding a file to the desk. What does not: keeping anything, live sources.
"""

import asyncio
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import BinaryIO, TypeVar

from pattress.audit.session import Clock
from pattress.daemon.desk import Desk, Taken, added_up
from pattress.daemon.finder import Finder
from pattress.daemon.listeners import NO_NUMPY
from pattress.egress.captures import datagrams_of, kind_of
from pattress.egress.log_head import moment_of, split_head
from pattress.egress.tail_reader import MAX_LINE_BYTES
from pattress.egress.tally import Tallies, Tally
from pattress.egress.whereabouts import Owner, Whereabouts
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Alert, Encounter, Hearing
from pattress.model.errors import UsageError
from pattress.model.site import Site
from pattress.model.watching import WatchSource
from pattress.store.store import Store

DATAGRAMS_AT_ONCE = 64
LINES_AT_ONCE = 1_000
Item = TypeVar("Item")


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What a file comes to."""

    encounters: Sequence[Encounter]
    hearings: Sequence[Hearing]
    alerts: Sequence[Alert]
    whereabouts: Whereabouts
    notes: Sequence[str] = ()

    def owner_of(self, device: str) -> Owner:
        """Return what to call a device, and where it is."""
        return self.whereabouts.called(device)

    def title_of(self, device: str) -> str:
        """Return what to call a device."""
        return self.owner_of(device).title


@dataclass(slots=True)
class _Gathered:
    """What was taken from the desk so far."""

    taken: Taken | None = None
    alerts: list[Alert] = field(default_factory=list)

    def add(self, taken: Taken) -> None:
        self.alerts.extend(taken.alerts)
        self.taken = taken if self.taken is None else added_up(self.taken, taken)


async def replayed(site: Site, store_file: Path, file: Path, source: str | None, *, clock: Clock) -> Replayed:
    """Return what a file would have told. Where devices are is taken from the database, where there is one.

    Raises:
        UsageError: If the site has no source that the file can be of.
        PattressError: If the file cannot be read.
    """
    whereabouts = await _whereabouts(site, store_file, clock)
    return await asyncio.to_thread(_replayed, site, whereabouts, file, source, clock)


async def _whereabouts(site: Site, store_file: Path, clock: Clock) -> Whereabouts:
    finder = Finder(site, clock)
    if not store_file.exists():  # noqa: ASYNC240 - one look at a local file, before anything waits
        return finder.planned()
    async with Store.open(store_file, read_only=True) as store:
        return await finder.whereabouts(store)


def _replayed(site: Site, whereabouts: Whereabouts, file: Path, name: str | None, clock: Clock) -> Replayed:
    desk = Desk(site, whereabouts)
    gathered = _Gathered()
    if kind_of(file) == "log":
        last_at = _replay_log(site, desk, gathered, file, name, clock)
        notes: list[str] = []
    else:
        last_at, notes = _replay_capture(site, desk, gathered, file, name, clock)
    gathered.add(desk.take(last_at, is_last=True))
    taken = gathered.taken
    assert taken is not None, "something was taken just now"  # noqa: S101 - says so to the type checker
    return Replayed(
        encounters=sorted(taken.encounters, key=lambda one: one.first_at),
        hearings=taken.hearings,
        alerts=gathered.alerts,
        whereabouts=whereabouts,
        notes=[*notes, *_strangers(taken)],
    )


def _strangers(taken: Taken) -> Iterator[str]:
    if taken.strangers:
        yield f"{taken.strangers} datagrams are of senders that site.toml does not list; they were left aside"


def _replay_log(site: Site, desk: Desk, gathered: _Gathered, file: Path, name: str | None, clock: Clock) -> datetime:
    """Take in each line at the time that it tells, or now where it tells none."""
    sources = _log_sources(site, name)
    now = last_at = clock()
    with file.open("rb") as lines:
        for number, line in enumerate(_lines(lines)):
            text = line.decode("utf-8", "replace").rstrip("\r\n")
            stamp = split_head(text).stamp
            at = (moment_of(stamp, now.astimezone()) if stamp is not None else None) or now
            last_at = at.astimezone(now.tzinfo)
            for source in sources:
                desk.tallies.of(source.name).heard += 1
                desk.line(source, text, last_at)
            if number % LINES_AT_ONCE == 0:
                gathered.add(desk.take(last_at))
    return last_at


def _lines(file: BinaryIO) -> Iterator[bytes]:
    """Yield lines without what is over the bound, which is no line of its own."""
    is_rest = False
    while part := file.readline(MAX_LINE_BYTES):
        if not is_rest:
            yield part
        is_rest = not part.endswith(b"\n")


def _log_sources(site: Site, name: str | None) -> list[WatchSource]:
    logs = [one for one in site.watching.sources if one.kind in ("firewall", "names")]
    chosen = [one for one in logs if name in (None, one.name)]
    if not chosen:
        known = ", ".join(one.name for one in logs) or "none"
        raise UsageError(
            "the site has no source of log lines" if name is None else f"the site has no source of log lines {name!r}",
            where="pattress encounters replay",
            next_step=f"Add a `[[watch.source]]` of kind firewall or names to site.toml. Known: {known}.",
        )
    return chosen


def _replay_capture(
    site: Site, desk: Desk, gathered: _Gathered, file: Path, name: str | None, clock: Clock
) -> tuple[datetime, list[str]]:
    """Take in datagrams at the time at which they were captured."""
    sources = _flow_sources(site, name)
    try:
        from pattress.egress.flows.decoder import FlowDecoder
        from pattress.egress.flows.evidence import FlowEvidence
        from pattress.egress.space_bulk import BulkSpace
    except ImportError as error:
        raise UsageError(NO_NUMPY, where=str(file), next_step="Look at it on another machine.") from error
    by_sender = {sender: source for source in sources for sender in source.senders}
    decoder, missing = FlowDecoder(), Tally()
    flows = FlowEvidence(by_sender, desk.tallies, decoder, BulkSpace(desk.space))
    last_at = clock()
    of_listed = (
        (sender, one)
        for one in datagrams_of(file, missing)
        if (sender := _listed(one.sender, by_sender, desk.tallies)) is not None
    )
    for batch in _batches(of_listed, DATAGRAMS_AT_ONCE):
        last_at = batch[-1][1].at
        for _, traffic, calls in flows.of([(str(sender), one.port, one.payload) for sender, one in batch], last_at):
            for evidence in traffic:
                desk.evidence(evidence)
            desk.calls(calls, last_at)
        gathered.add(desk.take(last_at))
    notes = [
        f"{one.count} data sets of {one.exporter} wait for their templates, which this file does not hold"
        for one in decoder.waiting()
    ]
    if missing.lost:
        notes.append(f"{missing.lost} datagrams are missing or in part only")
    return last_at, notes


def _flow_sources(site: Site, name: str | None) -> list[WatchSource]:
    flows = [one for one in site.watching.sources if one.kind == "flows"]
    chosen = [one for one in flows if name in (None, one.name)]
    if not chosen:
        known = ", ".join(one.name for one in flows) or "none"
        raise UsageError(
            "the site has no source of flow export" if name is None else f"the site has no source of flows {name!r}",
            where="pattress encounters replay",
            next_step="Add a `[[watch.source]]` of kind flows, with the exporter's address in `from`, to site.toml. "
            f"Known: {known}.",
        )
    return chosen


def _listed(sender: IPAddress | None, by_sender: Mapping[IPAddress, WatchSource], tallies: Tallies) -> IPAddress | None:
    """Return the sender where the site lists it. A datagram that was saved without one is of the first of these."""
    if sender is None:
        return next(iter(by_sender))
    if sender in by_sender:
        return sender
    tallies.strangers += 1
    return None


def _batches(items: Iterable[Item], count: int) -> Iterator[list[Item]]:
    rest = iter(items)
    while batch := list(islice(rest, count)):
        yield batch
