"""Readings that have aged: which of them stay, and what else goes with time.

What belongs here: the rules of `Retention`, in steps that are small enough to be taken one transaction each. What does
not: how readings are stored (see `days`).

The space of what goes is used again by what comes, so that the file stops growing; SQLite's automatic vacuum would
move pages at every audit instead, which wears an SD card out for nothing. `compact` gives space back when asked to.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlite_utils import Database

from pattress.model.kept import Retention
from pattress.model.vocabulary import MAX_CHANNELS, definitions
from pattress.store.days import DAY_MS, EVER_MS, FEW, keep_day, readings_of_day
from pattress.store.encoding import milliseconds
from pattress.store.packing import Taken

EVERY, HOURLY, DAILY, NONE = range(4)
"""Stages of thinning; `NONE` is past the last."""

HOUR_MS = 3_600_000
# A device that answers every second time changes its outcome with each reading. 24 changes a day of 60 such devices
# are 8 MB in two years; without a bound they would be 90.
MAX_CHANGES_PER_DAY = 24
# A house that was audited every night is looked at this far behind a stage's beginning; what lies further back was
# thinned before, and `compact` looks at all of it.
LOOK_BACK = 30 * DAY_MS
# A clock that is wrong once, as after a power cut on a host without a battery, must not make everything look old.
AGREEING_RUNS = 7
AGREEING_HOURS = 7 * 24  # of watching: not every site has audits
MAX_LEAP = timedelta(days=31)
# What a stranger can make grow by answering as ever new devices: at 40 settings, most of them short, 4 kB each.
MAX_STRANGERS = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Ages:
    """The moments, in milliseconds, before which readings have reached a stage. `is_whole` looks back without end."""

    today: int
    hourly: int
    daily: int
    none: int
    hearing: int
    company: int
    is_whole: bool

    def stage(self, day: int) -> int:
        """Return the stage that a day has reached."""
        return sum(day * DAY_MS < beginning for beginning in (self.hourly, self.daily, self.none))

    def oldest(self, beginning: int) -> int:
        """Return from when on to look for what has reached a stage."""
        return -EVER_MS if self.is_whole else beginning - LOOK_BACK


def ages(database: Database, now: datetime, retention: Retention, *, is_whole: bool = False) -> Ages | None:
    """Return how old is how old now, in whole days of UTC.

    None where too few runs agree on what day it is, and too few hours that were watched.
    """
    agreed = [
        *database.execute(
            "SELECT ended_at FROM run WHERE ended_at IS NOT NULL ORDER BY key DESC LIMIT 1 OFFSET ?",
            [AGREEING_RUNS - 1],
        ).fetchall(),
        *database.execute(
            "SELECT DISTINCT hour * ? FROM hearing ORDER BY hour DESC LIMIT 1 OFFSET ?", [HOUR_MS, AGREEING_HOURS - 1]
        ).fetchall(),
    ]
    if not agreed:
        return None
    believed = min(milliseconds(now), max(at_ms for (at_ms,) in agreed) + int(MAX_LEAP.total_seconds() * 1000))
    today = believed // DAY_MS * DAY_MS
    return Ages(
        today=today,
        hourly=today - retention.every_days * DAY_MS,
        daily=today - retention.hourly_days * DAY_MS,
        none=today - retention.daily_days * DAY_MS,
        hearing=today - retention.hearing_days * DAY_MS,
        company=today - retention.company_days * DAY_MS,
        is_whole=is_whole,
    )


def thinned(readings: Iterable[Taken], stage: int) -> list[Taken]:
    """Return which readings of one day stay: the first of each hour or of the day, and those with a new outcome.

    Once more with the same stage, or with a later one in two steps, gives the same.
    """
    if stage == EVERY:
        return list(readings)
    kept: list[Taken] = []
    hours: set[int] = set()
    changes = 0
    before: Taken | None = None
    for one in readings:
        hour = one.taken_at_ms // HOUR_MS if stage == HOURLY else 0
        is_change = before is not None and before.is_read != one.is_read and changes < MAX_CHANGES_PER_DAY
        changes += is_change
        if is_change or hour not in hours:
            kept.append(one)
        hours.add(hour)
        before = one
    return kept


def aged_days(database: Database, ages: Ages) -> list[tuple[int, int]]:
    """Return the (device, day) pairs whose readings may have to be packed or thinned."""
    rows = database.execute(
        "SELECT device.key, taken_at / :day AS day FROM device CROSS JOIN reading ON reading.device = device.key"
        " AND taken_at >= :many_since AND taken_at < :today GROUP BY 1, 2 HAVING count(*) > :few"
        " UNION SELECT device.key, taken_at / :day FROM device CROSS JOIN reading ON reading.device = device.key"
        " AND taken_at >= :hourly_since AND taken_at < :hourly GROUP BY 1, 2 HAVING count(*) > 1"
        " UNION SELECT device.key, taken_at / :day FROM device CROSS JOIN reading ON reading.device = device.key"
        " AND taken_at >= :daily_since AND taken_at < :daily GROUP BY 1, 2 HAVING count(*) > 1"
        " UNION SELECT device, day FROM reading_day WHERE stage = 0 AND day * :day < :hourly"
        " UNION SELECT device, day FROM reading_day WHERE stage = 1 AND day * :day < :daily",
        {
            "day": DAY_MS,
            "few": FEW,
            "today": ages.today,
            "hourly": ages.hourly,
            "daily": ages.daily,
            "many_since": ages.oldest(ages.hourly),
            "hourly_since": ages.oldest(ages.hourly),
            "daily_since": ages.oldest(ages.daily),
        },
    )
    return [(device, day) for device, day in rows.fetchall()]


def settle_days(database: Database, days: Sequence[tuple[int, int]], ages: Ages) -> int:
    """Pack and thin these days; return how many readings went."""
    gone = 0
    for device, day in days:
        stage = min(ages.stage(day), DAILY)
        readings = readings_of_day(database, device, day)
        kept = thinned(readings, stage)
        if len(kept) < len(readings) or len(kept) > FEW:
            keep_day(database, device, day, stage, kept)
        gone += len(readings) - len(kept)
    return gone


def forget_aged(database: Database, ages: Ages) -> None:
    """Forget readings past the last stage, states past theirs, and strangers."""
    devices = [(key,) for (key,) in database.execute("SELECT key FROM device").fetchall()]
    database.conn.executemany(
        "DELETE FROM reading WHERE device = ? AND taken_at < ?", [(device, ages.none) for (device,) in devices]
    )
    database.execute("DELETE FROM reading_day WHERE stage IN (0, 1, 2) AND day * ? < ?", [DAY_MS, ages.none])
    # A check that was given up stays with the results of its steps; what was read in them goes as readings do.
    database.execute(
        "DELETE FROM close_in_samples WHERE close_in IN"
        " (SELECT key FROM close_in WHERE is_signed_off = 0 AND ended_at < ?)",
        [ages.none],
    )
    states = [
        key
        for name in _states()
        for (key,) in database.execute("SELECT key FROM word WHERE text = ?", [name]).fetchall()
    ]
    database.conn.executemany(
        "DELETE FROM span WHERE device = ? AND setting = ? AND since < ? AND until < ?",
        [(device, state, ages.daily, ages.daily) for (device,) in devices for state in states],
    )
    # Devices that gave readings and belong to nothing here: at no point, never signed off, not seen for longest. Those
    # that had to do with the outside go last: what they did is what somebody may ask for.
    database.execute(
        "DELETE FROM device WHERE last_seen < ? AND key IN (SELECT key FROM device WHERE key NOT IN"
        " (SELECT device FROM sign_off UNION SELECT device FROM placement"
        " UNION SELECT device FROM close_in WHERE device IS NOT NULL)"
        " ORDER BY EXISTS (SELECT 1 FROM encounter WHERE encounter.device = device.key) DESC,"
        " last_seen DESC, key DESC LIMIT -1 OFFSET ?)",
        [ages.today, MAX_STRANGERS],
    )


def forget_words(database: Database) -> None:
    """Forget the texts that nothing speaks of any more. To be called with foreign keys unchecked.

    Checking would look through every table for every one of them; here each table is looked through once.
    """
    columns = database.execute(
        'SELECT child.name, parent."from" FROM sqlite_schema AS child, pragma_foreign_key_list(child.name) AS parent'
        " WHERE child.type = 'table' AND parent.\"table\" = 'word'"
    ).fetchall()
    used = " UNION ".join(  # the names are those of our own schema
        f'SELECT "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL'  # noqa: S608
        for table, column in columns
    )
    database.execute(f"DELETE FROM word WHERE key NOT IN ({used})")  # noqa: S608


def _states() -> Iterable[str]:
    """Yield every name that a measured state can have."""
    for one in definitions():
        if one.nature == "measurement" and one.type == "boolean":
            if one.is_per_channel:
                yield from (one.name.replace(".N", f".{channel}", 1) for channel in range(1, MAX_CHANNELS + 1))
            else:
                yield one.name
