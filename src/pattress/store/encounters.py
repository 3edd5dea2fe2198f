"""Encounters of devices with the outside, and how well the sources of that were heard.

What belongs here: keeping and giving back what came of an hour. What does not: the rows of encounters themselves
(see `encounter_rows`), and what goes with time (`encounter_thinning`). Every function works inside a transaction that
somebody else began and ends.
"""

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlite_utils import Database

from pattress.model.encounter import Company, Encounter, EncounterKind, Hearing
from pattress.store.days import DAY_MS, EVER_MS
from pattress.store.encoding import kept_text, milliseconds, moment_of
from pattress.store.encounter_rows import HOUR_MS, HOURS_PER_DAY, MAX_INTEGER, EncounterRow, EncounterRows
from pattress.store.lineage import device_key, ensured_device_key
from pattress.store.words import Words

KINDS: tuple[EncounterKind, ...] = ("asked", "tried", "reached", "approached")
"""In the order of their codes."""

MAX_NAME_LENGTH = 253  # of a name in DNS, as text (RFC 1035 section 3.1: 255 octets as sent)
MAX_REMARK_LENGTH = 200
# Ids that only encounters speak of: addresses that nobody could place. A stranger makes them by sending from ever new
# ones. Above so many, new ones are one device together.
MAX_UNSEEN_DEVICES = 1024
UNPLACED_REST = "address:*"


def keep_encounters(
    database: Database, encounters: Sequence[Encounter], heard: Sequence[Hearing], company: Sequence[Company]
) -> None:
    """Keep what came, each with what is kept of its hour.

    An encounter counts to the hour in which it ended. Counts add up, and so does how sources were heard; of company the
    most counts.

    Raises:
        ValueError: If a time has no time zone.
    """
    words = Words(database)
    devices = EncounteredDevices(database)
    rows = EncounterRows(database, words)
    for one in encounters:
        rows.add(_row(one, devices.key(one.device), words))
    rows.write()
    for hearing in heard:
        _keep_hearing(database, words, hearing)
    for hour in company:
        database.execute(
            "INSERT INTO company VALUES (?, ?, ?, ?) ON CONFLICT (device, hour) DO UPDATE SET"
            " hosts = max(hosts, excluded.hosts), ports = max(ports, excluded.ports)",
            [devices.key(hour.device), milliseconds(hour.hour) // HOUR_MS, hour.hosts, hour.ports],
        )


def encounters(
    database: Database, since: datetime | None, until: datetime | None, device: str | None
) -> list[Encounter]:
    """Return the encounters that went on at any moment between two, one for each row, in the order of their beginning.

    None for an unknown device.
    """
    since_ms, until_ms = _bounds(since, until)
    of_device, arguments = _only(database, device)
    rows = database.query(
        "SELECT device.id AS device, encounter.kind, place.text AS remote, first_at, last_at, called.text AS name,"  # noqa: S608
        " protocol, encounter.port, packets_out, octets_out, packets_in, octets_in, count, layout.names AS sources,"
        " said.text AS remark FROM device CROSS JOIN encounter ON encounter.device = device.key AND hour >= :hour"
        " JOIN word AS place ON place.key = encounter.remote JOIN layout ON layout.key = encounter.sources"
        " LEFT JOIN word AS called ON called.key = encounter.name LEFT JOIN word AS said ON said.key = encounter.remark"
        f" WHERE last_at >= :since AND first_at < :until{of_device}",
        {"hour": since_ms // DAY_MS * HOURS_PER_DAY, "since": since_ms, "until": until_ms} | arguments,
    )
    return sorted((_encounter(row) for row in rows), key=_in_time)


def hearings(database: Database, since: datetime | None, until: datetime | None) -> list[Hearing]:
    """Return how sources were heard in the hours that lie at least in part between two moments, by hour and source."""
    since_ms, until_ms = _bounds(since, until)
    rows = database.query(
        "SELECT word.text AS source, hour, listened_ms, listened_from, listened_until, heard_at, heard, lost, refused,"
        " unmatched FROM hearing"
        " JOIN word ON word.key = hearing.source WHERE hour >= ? AND hour * ? < ? ORDER BY hour, word.text",
        [since_ms // HOUR_MS, HOUR_MS, until_ms],
    )
    return [
        Hearing(
            source=row["source"],
            hour=moment_of(row["hour"] * HOUR_MS),
            listened_s=row["listened_ms"] / 1000,
            listened_from=_moment(row["listened_from"]),
            listened_until=_moment(row["listened_until"]),
            heard_at=_moment(row["heard_at"]),
            heard=row["heard"],
            lost=row["lost"],
            refused=row["refused"],
            unmatched=row["unmatched"],
        )
        for row in rows
    ]


def company(database: Database, since: datetime | None, device: str | None) -> list[Company]:
    """Return with how many of the inside devices had to do in the hours from a moment on, by hour and device.

    None for an unknown device.
    """
    since_ms, _ = _bounds(since, None)
    of_device, arguments = _only(database, device)
    rows = database.query(
        "SELECT device.id AS device, hour, hosts, ports FROM device CROSS JOIN company"  # noqa: S608
        f" ON company.device = device.key AND hour >= :hour WHERE TRUE{of_device} ORDER BY hour, device.id",
        {"hour": since_ms // HOUR_MS} | arguments,
    )
    return [
        Company(device=row["device"], hour=moment_of(row["hour"] * HOUR_MS), hosts=row["hosts"], ports=row["ports"])
        for row in rows
    ]


class EncounteredDevices:
    """The rows of devices that encounters speak of, for one transaction; a new one, never seen, where there is none."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._keys: dict[str, int] = {}

    def key(self, device_id: str) -> int:
        """Return the row of a device; that of all others where there are too many that nobody ever saw."""
        if device_id not in self._keys:
            key = device_key(self._database, device_id)
            if key is None:
                key = ensured_device_key(self._database, device_id if self._has_room() else UNPLACED_REST)
            self._keys[device_id] = key
        return self._keys[device_id]

    def _has_room(self) -> bool:
        (count,) = self._database.execute("SELECT count(*) FROM device WHERE first_seen IS NULL").fetchone()
        return int(count) < MAX_UNSEEN_DEVICES


def _row(one: Encounter, device: int, words: Words) -> EncounterRow:
    last_at = milliseconds(one.last_at)
    return EncounterRow(
        device=device,
        hour=last_at // HOUR_MS,
        kind=KINDS.index(one.kind),
        remote=words.key(kept_text(one.remote, MAX_NAME_LENGTH)),
        protocol=-1 if one.protocol is None else one.protocol,
        port=-1 if one.port is None else one.port,
        is_day=False,
        first_at=min(milliseconds(one.first_at), last_at),  # a clock that was set back in between
        last_at=last_at,
        name=words.key_or_none(None if one.name is None else kept_text(one.name, MAX_NAME_LENGTH)),
        packets_out=min(one.packets_out, MAX_INTEGER),
        octets_out=min(one.octets_out, MAX_INTEGER),
        packets_in=min(one.packets_in, MAX_INTEGER),
        octets_in=min(one.octets_in, MAX_INTEGER),
        count=min(one.count, MAX_INTEGER),
        sources=tuple(sorted(set(one.sources))),
        remark=words.key_or_none(None if one.remark is None else kept_text(one.remark, MAX_REMARK_LENGTH)),
    )


def _encounter(row: dict[str, Any]) -> Encounter:
    times = {"first_at": moment_of(row["first_at"]), "last_at": moment_of(row["last_at"])}
    unknown = {name: None if row[name] == -1 else row[name] for name in ("protocol", "port")}
    return Encounter(
        **row | times | unknown | {"kind": KINDS[row["kind"]], "sources": tuple(json.loads(row["sources"]))}
    )


def _in_time(one: Encounter) -> tuple[datetime, datetime, str, str, str, int, int]:
    number = (-1 if one.protocol is None else one.protocol, -1 if one.port is None else one.port)
    return one.first_at, one.last_at, one.device, one.kind, one.remote, *number


def _keep_hearing(database: Database, words: Words, one: Hearing) -> None:
    """Sources are those of the site's files, so that nobody else can make ever new ones."""
    moments = (one.listened_from, one.listened_until, one.heard_at)
    database.execute(
        "INSERT INTO hearing (source, hour, listened_ms, heard, lost, refused, unmatched, listened_from,"
        " listened_until, heard_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (source, hour) DO UPDATE SET"
        " listened_ms = listened_ms + excluded.listened_ms, heard = heard + excluded.heard,"
        " lost = lost + excluded.lost, refused = refused + excluded.refused,"
        " unmatched = unmatched + excluded.unmatched,"
        " listened_from = min(ifnull(listened_from, excluded.listened_from),"
        " ifnull(excluded.listened_from, listened_from)),"
        " listened_until = max(ifnull(listened_until, excluded.listened_until),"
        " ifnull(excluded.listened_until, listened_until)),"
        " heard_at = max(ifnull(heard_at, excluded.heard_at), ifnull(excluded.heard_at, heard_at))",
        [
            words.key(one.source),
            milliseconds(one.hour) // HOUR_MS,
            round(one.listened_s * 1000),
            one.heard,
            one.lost,
            one.refused,
            one.unmatched,
            *(None if moment is None else milliseconds(moment) for moment in moments),
        ],
    )


def _moment(at_ms: int | None) -> datetime | None:
    return None if at_ms is None else moment_of(at_ms)


def _bounds(since: datetime | None, until: datetime | None) -> tuple[int, int]:
    """Return two moments in milliseconds; without them the beginning and the end of time."""
    return (
        -EVER_MS if since is None else milliseconds(since),
        EVER_MS if until is None else milliseconds(until),
    )


def _only(database: Database, device: str | None) -> tuple[str, dict[str, int | None]]:
    """Return what restricts a query to one device, where one is asked for."""
    return ("", {}) if device is None else (" AND device.key = :device", {"device": device_key(database, device)})
