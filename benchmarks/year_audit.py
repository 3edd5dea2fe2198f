"""A whole audit of the house after its year, beside the same audit into a new database.

What belongs here: discovery by the plan's addresses, reading over HTTP, judging, dating what has changed, keeping and
thinning, all at once. What does not: the year (see `year`), any one of these steps.
"""

import asyncio
import shutil
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from benchmarks.clients import ANSWER_S
from benchmarks.documents import SETTING_COUNT
from benchmarks.emulated import EmulatedDevices, emulated_devices
from benchmarks.house import site_of
from benchmarks.measured import Measured
from benchmarks.year_house import LIMIT, NETWORK, House
from pattress.audit.run import Audit, run_audit
from pattress.model.kept import Retention
from pattress.model.reading import Snapshot
from pattress.store.store import DEFAULT_RETENTION, Store

LISTEN_S = 0.1  # nothing announces itself: a longer window would only hide what the year costs
TURNED_TO_C = 95  # tonight, on the first device; no night of the year turns it so high


@dataclass(frozen=True, slots=True, kw_only=True)
class _Took:
    """How long the parts of one audit took, and how many changes it dated, some of them by what was kept."""

    opening_s: float
    audit_s: float
    thinning_s: float
    closing_s: float
    dated_count: int
    kept_date_count: int

    @property
    def whole_s(self) -> float:
        return self.opening_s + self.audit_s + self.thinning_s + self.closing_s


class _TimedStore(Store):
    """A store that tells how long its thinning took: most of an audit, where many readings are due on one day."""

    thinning_s = 0.0

    async def thin(self, now: datetime, retention: Retention = DEFAULT_RETENTION, *, is_whole: bool = False) -> int:
        started_s = time.perf_counter()
        gone = await super().thin(now, retention, is_whole=is_whole)
        self.thinning_s += time.perf_counter() - started_s
        return gone


def audit_figures(house: House, year: Path, at: datetime, times: int) -> tuple[list[Measured], list[str]]:
    """Return what one more night costs, each time with a copy of the year's database and with a new one, in turn.

    Raises:
        RuntimeError: If an audit was not a whole one, so that its time says nothing.
    """
    limits = [int(values[LIMIT]) for values in house.values]
    limits[0] = TURNED_TO_C
    after, new = [], []
    with (
        emulated_devices(NETWORK, house.count, 0, limits) as devices,
        tempfile.TemporaryDirectory(dir=year.parent) as made,
    ):
        for number in range(times):
            copy = Path(shutil.copy(year, Path(made) / f"year-{number}.db"))
            after.append(asyncio.run(_audited(devices, copy, at)))
            new.append(asyncio.run(_audited(devices, Path(made) / f"new-{number}.db", at)))
    if not after[0].dated_count or new[0].dated_count:
        raise RuntimeError("the audit after the year found no change since a sign-off, or the one without a past did")
    return [
        _beside("one more night: the whole audit", "whole_s", after, new),
        _beside("opening the database for it", "opening_s", after, new),
        _beside("the audit without its thinning", "audit_s", after, new),
        Measured(what="its thinning", unit="ms", ours=min(one.thinning_s for one in after) * 1_000),
        _beside("closing the database after it", "closing_s", after, new),
    ], [
        f"one more night: {after[0].dated_count} settings were found changed since they were signed off, "
        f"{after[0].kept_date_count} of them dated by what was kept; the devices answer at once, discovery listens for "
        f"{LISTEN_S:g} s, and the files are in the system's cache",
    ]


def _beside(what: str, part: str, after: Sequence[_Took], new: Sequence[_Took]) -> Measured:
    ours, reference = (min(getattr(one, part) for one in some) * 1_000 for some in (after, new))
    return Measured(what=what, unit="ms", ours=ours, reference=reference, beside="a new database")


async def _audited(devices: EmulatedDevices, path: Path, at: datetime) -> _Took:
    """Audit the house at a moment of its own time, and close the database."""
    site = site_of(devices, path.parent, listen_s=LISTEN_S, answer_s=ANSWER_S)
    started_s = time.perf_counter()
    async with _TimedStore.open(path) as store:
        opened_s = time.perf_counter()
        audit = await run_audit(site, store, clock=lambda: at + timedelta(seconds=time.perf_counter() - opened_s))
        audited_s = time.perf_counter()
        await _refuse_less_than_a_whole_audit(audit, store, devices)
        checked_s = time.perf_counter()
    closed_s = time.perf_counter()
    dates = [finding.since for finding in audit.findings if finding.before is not None]
    return _Took(
        opening_s=opened_s - started_s,
        audit_s=audited_s - opened_s - store.thinning_s,
        thinning_s=store.thinning_s,
        closing_s=closed_s - checked_s,
        dated_count=sum(date is not None for date in dates),
        kept_date_count=sum(date is not None and date < at for date in dates),
    )


async def _refuse_less_than_a_whole_audit(audit: Audit, store: Store, devices: EmulatedDevices) -> None:
    whole = [one for one in audit.readings.values() if isinstance(one, Snapshot) and len(one.values) == SETTING_COUNT]
    if len(whole) != devices.count or len(audit.merged.devices) != devices.count:
        raise RuntimeError(f"the audit read {len(whole)} of {devices.count} devices whole")
    last = await store.last_run()
    if last is None or last.id != audit.run or any(one.source == "store" for one in audit.sources):
        raise RuntimeError("the audit was not kept, or what had aged could not be thinned")
    if any(finding.before is not None and finding.since is None for finding in audit.findings):
        raise RuntimeError("the audit did not date every change")
