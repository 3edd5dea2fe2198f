"""Encounters that have aged, or are too many: which of them stay, and what else of watching goes with time.

What belongs here: the rules of `Retention`, in steps that are small enough to be taken one transaction each. What does
not: how encounters are stored and joined (see `encounter_rows`).
"""

from collections.abc import Sequence

from sqlite_utils import Database

from pattress.store.encounter_rows import HOUR_MS, HOURS_PER_DAY, REST, day_of, rows_between, write_rows
from pattress.store.thinning import Ages
from pattress.store.words import Words

# 60 bytes each: 12 MB of a house where every one of 60 modules tries, all the time, what it should not; a house that is
# left alone has next to none. Where each has a name of its own, as in a tunnel through DNS, 115 MB, which takes 60
# devices that all do it. What is above goes where most is: who floods loses its own past, and nobody else's.
MAX_ROWS = 200_000


def aged_encounter_days(database: Database, ages: Ages) -> list[tuple[int, int]]:
    """Return the (device, day) pairs whose encounters stand by the hour and are to be added up."""
    return [
        (device, day)
        for device, day in database.execute(
            "SELECT device.key, hour / :hours FROM device CROSS JOIN encounter ON encounter.device = device.key"
            " AND hour >= :since AND hour < :until WHERE NOT is_day GROUP BY 1, 2",
            {
                "hours": HOURS_PER_DAY,
                "since": ages.oldest(ages.daily) // HOUR_MS,
                "until": ages.daily // HOUR_MS,
            },
        ).fetchall()
    ]


def settle_encounter_days(database: Database, days: Sequence[tuple[int, int]]) -> None:
    """Add up the encounters of these days."""
    words = Words(database)
    for device, day in days:
        first, end = day * HOURS_PER_DAY, (day + 1) * HOURS_PER_DAY
        rows = rows_between(database, device, first, end)
        database.execute("DELETE FROM encounter WHERE device = ? AND hour >= ? AND hour < ?", [device, first, end])
        write_rows(database, words, day_of(rows, words.key(REST)))


def allowances(counts: Sequence[int], limit: int) -> int | None:
    """Return how many rows each device may keep, so that all together have no more than `limit`; None for all of them.

    Whoever has fewer keeps them all; what they leave is shared by the others alike.
    """
    left, sharing = limit, len(counts)
    if sum(counts) <= limit:
        return None
    for count in sorted(counts):
        if count * sharing > left:
            break
        left -= count
        sharing -= 1
    return left // sharing


def crowded_devices(database: Database) -> list[tuple[int, int]]:
    """Return which devices have more encounters than they may keep, and how many that is; mostly none."""
    counts = dict(database.execute("SELECT device, count(*) FROM encounter GROUP BY device").fetchall())
    allowed = allowances(list(counts.values()), MAX_ROWS)
    return [] if allowed is None else [(device, allowed) for device, count in counts.items() if count > allowed]


def clear_device(database: Database, device: int, allowed: int, ages: Ages) -> None:
    """Leave a device at most so many encounters: the oldest days are added up before their time, or go."""
    days = database.execute(
        "SELECT DISTINCT hour / ? FROM encounter WHERE device = ? AND hour < ? AND NOT is_day ORDER BY 1",
        [HOURS_PER_DAY, device, ages.today // HOUR_MS],
    ).fetchall()
    for (day,) in days:
        if _count(database, device) <= allowed:
            return
        settle_encounter_days(database, [(device, day)])
    database.execute(
        "DELETE FROM encounter WHERE device = :device AND hour <="
        " (SELECT hour FROM encounter WHERE device = :device ORDER BY hour DESC LIMIT 1 OFFSET :allowed)",
        {"device": device, "allowed": allowed},
    )


def forget_aged_encounters(database: Database, ages: Ages) -> None:
    """Forget what is past its last stage, and addresses that nothing is known of any more."""
    devices = [key for (key,) in database.execute("SELECT key FROM device").fetchall()]
    database.conn.executemany(
        "DELETE FROM encounter WHERE device = ? AND hour < ?", [(device, ages.none // HOUR_MS) for device in devices]
    )
    database.conn.executemany(
        "DELETE FROM company WHERE device = ? AND hour < ?", [(device, ages.company // HOUR_MS) for device in devices]
    )
    database.execute("DELETE FROM hearing WHERE hour < ?", [ages.hearing // HOUR_MS])
    database.execute("DELETE FROM told WHERE last_at < ?", [ages.none])
    nothing_of_it = " AND ".join(
        f"NOT EXISTS (SELECT 1 FROM {table} WHERE {table}.device = device.key)"  # noqa: S608 - the names are ours
        for table in ("encounter", "company", "told", "finding", "sign_off", "placement", "reading", "close_in")
    )
    database.execute(
        f"DELETE FROM device WHERE id LIKE 'address:%' AND first_seen IS NULL AND {nothing_of_it}"  # noqa: S608
    )


def _count(database: Database, device: int) -> int:
    return int(database.execute("SELECT count(*) FROM encounter WHERE device = ?", [device]).fetchone()[0])
