"""The schema, as numbered migrations. A released migration is never edited; a change is a new one at the end.

What belongs here: the tables, and bringing a database from any released schema to the newest. What does not: rows.

Every migration runs in one transaction together with its own record and `PRAGMA user_version`, which its last step
sets, so that a process killed at any moment leaves either the schema before or the one after.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlite_utils import Database

from pattress.store.close_in_tables import CLOSE_IN_TABLES
from pattress.store.encoding import milliseconds
from pattress.store.encounter_tables import ENCOUNTER_TABLES
from pattress.store.transactions import write_transaction

Step = str | Callable[[Database], None]

APPLICATION_ID = 0x50417431  # "PAt1" in the file's header, so that no other program's database is taken for ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Migration:
    """One step of the schema. Its steps are statements, or functions where rows must be rewritten."""

    number: int
    name: str
    steps: tuple[Step, ...]


def schema_number(database: Database) -> int:
    """Return the number of the newest migration in a database, 0 where there is none."""
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(database: Database) -> bool:
    """Whether a database holds something that this program did not make."""
    application = int(database.execute("PRAGMA application_id").fetchone()[0])
    is_empty = database.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    return application != APPLICATION_ID and not (is_empty and application == 0)


def migrate(database: Database, migrations: Sequence[Migration], applied_at: datetime) -> None:
    """Apply every migration that the database has not had yet, in order; a second time changes nothing."""
    for migration in migrations:
        with write_transaction(database):
            # Asked inside the transaction: another process may have migrated while this one waited for the lock.
            if schema_number(database) < migration.number:
                _apply(database, migration, applied_at)


def newest_number(migrations: Sequence[Migration]) -> int:
    """Return the number of the newest known schema."""
    return migrations[-1].number


def _apply(database: Database, migration: Migration, applied_at: datetime) -> None:
    for step in migration.steps:
        if callable(step):
            step(database)
        else:
            database.execute(step)
    database.table("migration").insert(
        {"number": migration.number, "name": migration.name, "applied_at": milliseconds(applied_at)}
    )
    if schema_number(database) != migration.number:
        raise ValueError(f"migration {migration.number} does not set user_version to its own number")


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        number=1,
        name="devices, readings, spans, findings, runs",
        steps=(
            "PRAGMA application_id = 0x50417431",
            """
            CREATE TABLE migration (
                number INTEGER PRIMARY KEY,
                name TEXT NOT NULL,
                applied_at INTEGER NOT NULL
            ) STRICT
            """,
            # Every text that comes back row after row: names of settings, points and rules, reasons, expectations.
            """
            CREATE TABLE word (
                key INTEGER PRIMARY KEY,
                text TEXT NOT NULL UNIQUE
            ) STRICT
            """,
            # Names of measurements, as a JSON array in the order of the numbers in `reading.measured`.
            """
            CREATE TABLE layout (
                key INTEGER PRIMARY KEY,
                names TEXT NOT NULL UNIQUE
            ) STRICT
            """,
            """
            CREATE TABLE run (
                key INTEGER PRIMARY KEY AUTOINCREMENT,
                started_at INTEGER NOT NULL,
                ended_at INTEGER,
                policy INTEGER NOT NULL REFERENCES word (key),
                device_count INTEGER NOT NULL DEFAULT 0,
                read_count INTEGER NOT NULL DEFAULT 0,
                unreadable_count INTEGER NOT NULL DEFAULT 0
            ) STRICT
            """,
            """
            CREATE TABLE run_count (
                run INTEGER NOT NULL REFERENCES run (key),
                outcome TEXT NOT NULL CHECK (outcome IN ('met', 'broken', 'unverified', 'waived')),
                count INTEGER NOT NULL,
                PRIMARY KEY (run, outcome)
            ) STRICT, WITHOUT ROWID
            """,
            # `first_seen` is NULL where a device was only spoken of (planned, or tried in vain) and never seen.
            """
            CREATE TABLE device (
                key INTEGER PRIMARY KEY,
                id TEXT NOT NULL UNIQUE,
                mac TEXT,
                serial TEXT,
                name TEXT,
                kind TEXT,
                address TEXT,
                port INTEGER,
                first_seen INTEGER,
                last_seen INTEGER,
                last_read INTEGER,
                last_is_read INTEGER CHECK (last_is_read IN (0, 1)),
                layout INTEGER REFERENCES layout (key)
            ) STRICT
            """,
            # Ids under which a device was known before a better one was learned.
            """
            CREATE TABLE former_id (
                id TEXT PRIMARY KEY,
                device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE
            ) STRICT, WITHOUT ROWID
            """,
            "CREATE INDEX former_id_device ON former_id (device)",
            # An absent name or address is '' here, so that it can be part of the key.
            """
            CREATE TABLE sighting (
                device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
                source TEXT NOT NULL,
                name TEXT NOT NULL,
                address TEXT NOT NULL,
                first_seen INTEGER NOT NULL,
                last_seen INTEGER NOT NULL,
                count INTEGER NOT NULL,
                PRIMARY KEY (device, source, name, address)
            ) STRICT, WITHOUT ROWID
            """,
            # The key is the clustering: one device's readings lie together, and no index repeats them.
            """
            CREATE TABLE reading (
                device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
                taken_at INTEGER NOT NULL,
                run INTEGER NOT NULL REFERENCES run (key),
                is_read INTEGER NOT NULL CHECK (is_read IN (0, 1)),
                reason INTEGER REFERENCES word (key),
                layout INTEGER REFERENCES layout (key),
                measured TEXT,
                PRIMARY KEY (device, taken_at, run)
            ) STRICT, WITHOUT ROWID
            """,
            # `value` has no type of its own: what is put in comes out, and `type` tells true from 1.
            """
            CREATE TABLE span (
                device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
                setting INTEGER NOT NULL REFERENCES word (key),
                since INTEGER NOT NULL,
                until INTEGER CHECK (until > since),
                type INTEGER NOT NULL CHECK (type IN (0, 1, 2, 3)),
                value ANY NOT NULL,
                PRIMARY KEY (device, setting, since)
            ) STRICT, WITHOUT ROWID
            """,
            "CREATE UNIQUE INDEX span_open ON span (device, setting) WHERE until IS NULL",
            """
            CREATE TABLE finding (
                key INTEGER PRIMARY KEY,
                device INTEGER REFERENCES device (key) ON DELETE CASCADE,
                point INTEGER REFERENCES word (key),
                rule INTEGER NOT NULL REFERENCES word (key),
                setting INTEGER REFERENCES word (key),
                expected INTEGER NOT NULL REFERENCES word (key),
                outcome TEXT NOT NULL CHECK (outcome IN ('broken', 'unverified', 'waived')),
                severity TEXT NOT NULL CHECK (severity IN ('danger', 'fault', 'advice')),
                found TEXT,
                reason TEXT,
                opened_at INTEGER NOT NULL,
                opened_run INTEGER NOT NULL REFERENCES run (key),
                closed_at INTEGER CHECK (closed_at >= opened_at),
                closed_run INTEGER REFERENCES run (key)
            ) STRICT
            """,
            "CREATE INDEX finding_open ON finding (closed_at) WHERE closed_at IS NULL",
            "CREATE INDEX finding_device ON finding (device)",
            "PRAGMA user_version = 1",
        ),
    ),
    Migration(
        number=2,
        name="sign-offs, placements, readings packed by day",
        steps=(
            # Names of the settings are a layout, the values a JSON array in its order: JSON tells true, 1, 1.0 and
            # "1" apart. The newest of a device is the one with the highest key, whatever the clock said.
            """
            CREATE TABLE sign_off (
                key INTEGER PRIMARY KEY AUTOINCREMENT,
                device INTEGER NOT NULL REFERENCES device (key),
                point INTEGER REFERENCES word (key),
                at INTEGER NOT NULL,
                who INTEGER NOT NULL REFERENCES word (key),
                why TEXT NOT NULL,
                layout INTEGER NOT NULL REFERENCES layout (key),
                signed TEXT NOT NULL
            ) STRICT
            """,
            "CREATE INDEX sign_off_device ON sign_off (device)",
            """
            CREATE TABLE placement (
                point INTEGER NOT NULL REFERENCES word (key),
                since INTEGER NOT NULL,
                until INTEGER CHECK (until > since),
                device INTEGER NOT NULL REFERENCES device (key),
                PRIMARY KEY (point, since)
            ) STRICT, WITHOUT ROWID
            """,
            "CREATE UNIQUE INDEX placement_open ON placement (point) WHERE until IS NULL",
            "CREATE INDEX placement_device ON placement (device)",
            # Many readings of one device on one day (days since 1970-01-01 UTC) in one row; few stand in `reading`.
            """
            CREATE TABLE reading_day (
                key INTEGER PRIMARY KEY,
                device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
                day INTEGER NOT NULL,
                stage INTEGER NOT NULL CHECK (stage IN (0, 1, 2)),
                layout INTEGER REFERENCES layout (key),
                packed BLOB NOT NULL,
                UNIQUE (device, day)
            ) STRICT
            """,
            "CREATE INDEX reading_day_stage ON reading_day (stage, day)",
            # So that reasons which no reading gives any more are found without looking at every reading.
            "CREATE INDEX reading_reason ON reading (reason) WHERE reason IS NOT NULL",
            "PRAGMA user_version = 2",
        ),
    ),
    Migration(
        number=3,
        name="encounters with the outside, how sources were heard, what was told, templates",
        steps=(*ENCOUNTER_TABLES, "PRAGMA user_version = 3"),
    ),
    Migration(
        number=4,
        name="close-in checks, their steps and samples",
        steps=(*CLOSE_IN_TABLES, "PRAGMA user_version = 4"),
    ),
    Migration(
        number=5,
        name="between which moments of an hour a source was listened to",
        steps=(
            "ALTER TABLE hearing ADD COLUMN listened_from INTEGER",
            "ALTER TABLE hearing ADD COLUMN listened_until INTEGER",
            "ALTER TABLE hearing ADD COLUMN heard_at INTEGER",
            # Nobody knows any more where in its hour the gaps were: it may have been anywhere.
            "UPDATE hearing SET listened_from = hour * 3600000, listened_until = (hour + 1) * 3600000",
            "PRAGMA user_version = 5",
        ),
    ),
)
