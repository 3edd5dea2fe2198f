"""What the database gives back, as plain frozen data. What does not belong here: how it is kept."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pattress.model.finding import Outcome
from pattress.model.rules import Severity
from pattress.model.vocabulary import Value

ReadOutcome = Literal["read", "unreadable"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownDevice:
    """A device that was seen at least once.

    `last_seen` is the newest evidence with a date of its own. `last_read` is when it last gave a snapshot, None
    where it never did; `last_outcome` is how the newest attempt ended, None where there was none.
    """

    id: str
    mac: str | None
    serial: str | None
    name: str | None
    kind: str | None
    address: str | None
    port: int | None
    first_seen: datetime
    last_seen: datetime
    last_read: datetime | None
    last_outcome: ReadOutcome | None

    @property
    def announced_names(self) -> frozenset[str]:
        """The name that is kept of it."""
        return frozenset() if self.name is None else frozenset({self.name})


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A value that a setting had from `since` until just before `until`, which is None while it holds.

    A setting that could not be read keeps its span: the value holds as far as is known. Whether it was confirmed
    by a certain reading is said by that reading.
    """

    setting: str
    value: Value
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointSpan:
    """A `Span` and the device that had the value. At a point the device changes when a module is replaced."""

    device: str
    setting: str
    value: Value
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """A number that a device measured at one moment."""

    taken_at: datetime
    value: int | float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReading:
    """One reading and the numbers it measured.

    `reason` says why nothing could be read; for a reading that is `read`, what of it could not be, None if all was.
    """

    device: str
    run: int
    taken_at: datetime
    outcome: ReadOutcome
    reason: str | None
    measurements: Mapping[str, int | float]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFinding:
    """A finding that was not `met` from `opened_at` until just before `closed_at`, which is None while it holds.

    `found` and `reason` are those of the newest run in which it held.
    """

    device: str | None
    point: str | None
    rule: str
    setting: str | None
    outcome: Outcome
    severity: Severity
    expected: str
    found: str | None
    reason: str | None
    opened_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRun:
    """One audit. `ended_at` is None where it was cut short or still goes on; `counts` are then empty."""

    id: int
    started_at: datetime
    ended_at: datetime | None
    policy_digest: str
    device_count: int
    read_count: int
    unreadable_count: int
    counts: Mapping[Outcome, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff:
    """The reading of a device that a person agreed to: the settings, without measurements, as they were then."""

    device: str
    point: str | None
    at: datetime
    who: str
    why: str
    values: Mapping[str, Value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Which device stood at a point from `since` until just before `until`, which is None while it stands there."""

    point: str
    device: str
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """How finely readings and encounters are kept, by their age in days. Nothing that a device said is averaged.

    Every reading is kept for `every_days`; from then until `hourly_days` the first of each hour, and from then until
    `daily_days` the first of each day, in UTC; older ones go. A reading whose outcome differs from that of the reading
    before it stays with them, up to a bound. States that a device measures (an output that is on, a connection) are
    spans, and go `hourly_days` after they ended.

    Encounters are kept by the hour for `hourly_days`, then added up by the day until `daily_days`; so long is kept
    what people were told of them. How sources were heard goes after `hearing_days`, how many hosts of the inside a
    device called after `company_days`.

    Everything else is kept for ever: what settings were, findings, runs, sign-offs, placements and close-in checks.
    Only what was read in a check that was given up goes, `daily_days` after its end.
    """

    every_days: int = 14
    hourly_days: int = 90
    daily_days: int = 730
    hearing_days: int = 90
    company_days: int = 60

    def __post_init__(self) -> None:
        if not 1 <= self.every_days <= self.hourly_days <= self.daily_days:
            raise ValueError("each stage of the retention must be at least as long as the one before it")
        if min(self.hearing_days, self.company_days) < 1:
            raise ValueError("what is kept at all must be kept for a day at least")


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """What looking through a database found. `free_bytes` are inside the file and used again by what comes.

    `log_bytes` is what a write-ahead log beside it holds. `rows` are by table.
    """

    problems: tuple[str, ...]
    schema: int
    newest_schema: int
    sqlite_version: str
    size_bytes: int
    log_bytes: int
    free_bytes: int
    rows: Mapping[str, int]

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong with it."""
        return not self.problems


@dataclass(frozen=True, slots=True, kw_only=True)
class Compaction:
    """What compacting a database gave: how many readings were thinned out, and its size before and after."""

    thinned_count: int
    bytes_before: int
    bytes_after: int
