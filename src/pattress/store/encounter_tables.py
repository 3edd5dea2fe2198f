"""The tables of encounters and of what belongs to them, as migration 3 made them: never edited once released.

What belongs here: those statements. What does not: later changes, which are migrations of their own.
"""

ENCOUNTER_TABLES = (
    # `hour` counts from 1970-01-01 UTC; a row that stands for a whole day has the day's first one. `protocol`
    # and `port` are -1 where none is known, so that they can be part of the key. No index by time: a query
    # goes device by device, which the key serves, and an index would take half as much room as the table.
    """
    CREATE TABLE encounter (
        device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
        hour INTEGER NOT NULL,
        kind INTEGER NOT NULL CHECK (kind IN (0, 1, 2, 3)),
        remote INTEGER NOT NULL REFERENCES word (key),
        protocol INTEGER NOT NULL CHECK (protocol >= -1),
        port INTEGER NOT NULL CHECK (port >= -1),
        is_day INTEGER NOT NULL CHECK (is_day IN (0, 1)),
        first_at INTEGER NOT NULL,
        last_at INTEGER NOT NULL CHECK (last_at >= first_at),
        name INTEGER REFERENCES word (key),
        packets_out INTEGER NOT NULL,
        octets_out INTEGER NOT NULL,
        packets_in INTEGER NOT NULL,
        octets_in INTEGER NOT NULL,
        count INTEGER NOT NULL,
        sources INTEGER NOT NULL REFERENCES layout (key),
        remark INTEGER REFERENCES word (key),
        PRIMARY KEY (device, hour, kind, remote, protocol, port),
        CHECK (last_at >= hour * 3600000 AND last_at < (hour + iif(is_day, 24, 1)) * 3600000)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE hearing (
        source INTEGER NOT NULL REFERENCES word (key),
        hour INTEGER NOT NULL,
        listened_ms INTEGER NOT NULL,
        heard INTEGER NOT NULL,
        lost INTEGER NOT NULL,
        refused INTEGER NOT NULL,
        unmatched INTEGER NOT NULL,
        PRIMARY KEY (source, hour)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE company (
        device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
        hour INTEGER NOT NULL,
        hosts INTEGER NOT NULL,
        ports INTEGER NOT NULL,
        PRIMARY KEY (device, hour)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE told (
        device INTEGER NOT NULL REFERENCES device (key) ON DELETE CASCADE,
        kind INTEGER NOT NULL CHECK (kind IN (0, 1, 2, 3, 4)),
        place INTEGER NOT NULL REFERENCES word (key),
        first_at INTEGER NOT NULL,
        last_at INTEGER NOT NULL CHECK (last_at >= first_at),
        count INTEGER NOT NULL,
        octets INTEGER NOT NULL,
        told_at INTEGER,
        told_count INTEGER NOT NULL,
        PRIMARY KEY (device, kind, place)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE template (
        exporter TEXT NOT NULL,
        exporter_port INTEGER NOT NULL,
        version INTEGER NOT NULL,
        domain INTEGER NOT NULL,
        template INTEGER NOT NULL,
        is_options INTEGER NOT NULL CHECK (is_options IN (0, 1)),
        record BLOB NOT NULL,
        at INTEGER NOT NULL,
        PRIMARY KEY (exporter, exporter_port, version, domain, template)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE place (
        source TEXT PRIMARY KEY,
        place TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)
