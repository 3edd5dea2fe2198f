"""The tables of close-in checks, as migration 4 made them: never edited once released.

What belongs here: those statements. What does not: later changes, which are migrations of their own.
"""

CLOSE_IN_TABLES = (
    """
    CREATE TABLE close_in (
        key INTEGER PRIMARY KEY AUTOINCREMENT,
        point INTEGER NOT NULL REFERENCES word (key),
        who INTEGER NOT NULL REFERENCES word (key),
        began_at INTEGER NOT NULL,
        device INTEGER REFERENCES device (key),
        planned TEXT NOT NULL,
        ended_at INTEGER,
        is_signed_off INTEGER NOT NULL DEFAULT 0 CHECK (is_signed_off IN (0, 1)),
        CHECK (ended_at IS NOT NULL OR is_signed_off = 0)
    ) STRICT
    """,
    "CREATE INDEX close_in_point ON close_in (point)",
    "CREATE INDEX close_in_device ON close_in (device)",
    # Two people cannot check one point at the same time without knowing of each other.
    "CREATE UNIQUE INDEX close_in_open ON close_in (point) WHERE ended_at IS NULL",
    # Every try of a step; of one that was cut short there are only samples.
    """
    CREATE TABLE close_in_step (
        close_in INTEGER NOT NULL REFERENCES close_in (key) ON DELETE CASCADE,
        step INTEGER NOT NULL REFERENCES word (key),
        number INTEGER NOT NULL CHECK (number > 0),
        title TEXT NOT NULL,
        outcome INTEGER NOT NULL CHECK (outcome IN (0, 1, 2, 3)),
        sentence TEXT NOT NULL,
        began_at INTEGER NOT NULL,
        ended_at INTEGER NOT NULL,
        facts TEXT NOT NULL,
        PRIMARY KEY (close_in, step, number)
    ) STRICT, WITHOUT ROWID
    """,
    # Numbers are packed as those of readings are, `layout` being their names; `others` is everything that is no number.
    """
    CREATE TABLE close_in_samples (
        key INTEGER PRIMARY KEY,
        close_in INTEGER NOT NULL REFERENCES close_in (key) ON DELETE CASCADE,
        step INTEGER NOT NULL REFERENCES word (key),
        number INTEGER NOT NULL CHECK (number > 0),
        part INTEGER NOT NULL CHECK (part >= 0),
        count INTEGER NOT NULL CHECK (count > 0),
        layout INTEGER NOT NULL REFERENCES layout (key),
        numbers BLOB NOT NULL,
        others BLOB NOT NULL,
        UNIQUE (close_in, step, number, part)
    ) STRICT
    """,
)
