"""What people were told of encounters, the templates of flow export, and how far logs were read.

What belongs here: three small tables that outlive a restart. What does not: what is told, and what a template means.
Every function works inside a transaction that somebody else began and ends.
"""

from collections.abc import Mapping, Sequence

from sqlite_utils import Database

from pattress.model.encounter import KeptTemplate, Told, ToldKind
from pattress.store.encoding import kept_text, milliseconds, moment_of
from pattress.store.encounter_rows import MAX_INTEGER
from pattress.store.encounters import KINDS, MAX_NAME_LENGTH, EncounteredDevices
from pattress.store.words import Words

TOLD_KINDS: tuple[ToldKind, ...] = (*KINDS, "unlike-before")
"""In the order of their codes."""

# What a device can make grow by calling ever new networks: 1,024 places of 40 bytes, with a name of its own each
# 550, are at most 560 kB. The ones longest past go, and are told again if they come back.
MAX_TOLD_PER_DEVICE = 1024
# A template of 30 fields has 130 bytes; so there is room for 5,000 of them, and for 30 of a kind made to be large.
MAX_TEMPLATE_BYTES = 1 << 20
BYTES_BESIDE_RECORD = 64


def keep_told(database: Database, told: Sequence[Told]) -> None:
    """Keep what was told, over what was kept of the same device, kind and place.

    Raises:
        ValueError: If a time has no time zone.
    """
    words = Words(database)
    devices = EncounteredDevices(database)
    touched = set()
    for one in told:
        device = devices.key(one.device)
        touched.add(device)
        first_at = milliseconds(one.first_at)
        database.execute(
            "INSERT OR REPLACE INTO told VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                device,
                TOLD_KINDS.index(one.kind),
                words.key(kept_text(one.place, MAX_NAME_LENGTH)),
                first_at,
                max(first_at, milliseconds(one.last_at)),
                min(one.count, MAX_INTEGER),
                min(one.octets, MAX_INTEGER),
                None if one.told_at is None else milliseconds(one.told_at),
                min(one.told_count, MAX_INTEGER),
            ],
        )
    for device in touched:
        database.execute(
            "DELETE FROM told WHERE device = :device AND (kind, place) IN (SELECT kind, place FROM told"
            " WHERE device = :device ORDER BY last_at DESC, kind DESC, place DESC LIMIT -1 OFFSET :limit)",
            {"device": device, "limit": MAX_TOLD_PER_DEVICE},
        )


def all_told(database: Database) -> list[Told]:
    """Return what was told, by device, kind and place."""
    rows = database.query(
        "SELECT device.id AS device, told.kind, word.text AS place, first_at, last_at, count, octets, told_at,"
        " told_count FROM told JOIN device ON device.key = told.device JOIN word ON word.key = told.place"
        " ORDER BY device.id, told.kind, word.text"
    )
    return [
        Told(
            device=row["device"],
            kind=TOLD_KINDS[row["kind"]],
            place=row["place"],
            first_at=moment_of(row["first_at"]),
            last_at=moment_of(row["last_at"]),
            count=row["count"],
            octets=row["octets"],
            told_at=None if row["told_at"] is None else moment_of(row["told_at"]),
            told_count=row["told_count"],
        )
        for row in rows
    ]


def keep_templates(database: Database, kept: Sequence[KeptTemplate]) -> None:
    """Keep these templates and no others; the newest, where they are too many.

    Raises:
        ValueError: If a time has no time zone.
    """
    database.execute("DELETE FROM template")
    room = MAX_TEMPLATE_BYTES
    for one in sorted(kept, key=lambda one: one.at, reverse=True):
        room -= len(one.record) + BYTES_BESIDE_RECORD
        if room < 0:
            break
        database.execute(
            "INSERT OR IGNORE INTO template VALUES (?, ?, ?, ?, ?, ?, ?, ?)",  # the newest comes first
            [
                kept_text(one.exporter),
                one.exporter_port,
                one.version,
                one.domain,
                one.template,
                int(one.is_options),
                one.record,
                milliseconds(one.at),
            ],
        )


def templates(database: Database) -> list[KeptTemplate]:
    """Return the kept templates, by exporter, domain and number."""
    rows = database.query("SELECT * FROM template ORDER BY exporter, exporter_port, version, domain, template")
    return [KeptTemplate(**row | {"is_options": bool(row["is_options"]), "at": moment_of(row["at"])}) for row in rows]


def keep_places(database: Database, kept: Mapping[str, str]) -> None:
    """Keep how far the log of each of these sources was read, and of no others."""
    database.execute("DELETE FROM place")
    for source, place in kept.items():
        database.execute("INSERT INTO place VALUES (?, ?)", [kept_text(source), place])


def places(database: Database) -> dict[str, str]:
    """Return by source how far its log was read."""
    return {row["source"]: row["place"] for row in database.query("SELECT source, place FROM place ORDER BY source")}
