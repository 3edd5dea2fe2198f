"""Devices and the sightings of them. Every function works inside a transaction that somebody else began and ends."""

from collections.abc import Sequence

from sqlite_utils import Database

from pattress.model.device import LIVE_SOURCES, Device, Sighting
from pattress.model.kept import KnownDevice
from pattress.store.encoding import kept_text, milliseconds, moment_of
from pattress.store.lineage import settled_device_key
from pattress.store.runs import started_at_of

EVIDENCE_SOURCES = LIVE_SOURCES - {"reading"}
"""What a sighting row is kept of. The plan and the database say nothing new, and a reading has a row of its own."""

# What a stranger can make grow, by announcing ever new names from ever new addresses. With the longest names a row
# takes 600 bytes, so that 32 sightings of 1,024 strangers are 20 MB; a quiet house has 3 short ones for each device.
MAX_SIGHTINGS_PER_DEVICE = 32
MAX_NEVER_READ_DEVICES = 1024


def keep_devices(database: Database, run: int, devices: Sequence[Device]) -> None:
    """Keep devices with their sightings: who they are, where they are, when they were seen.

    A device of which nothing live was seen is left as it is. Attributes that are not known this time stay.

    Raises:
        ValueError: If there is no such run, or a sighting's time has no time zone.
    """
    at_ms = started_at_of(database, run)
    ids = frozenset(device.id for device in devices)
    live_count = 0
    for device in devices:
        live = [sighting for sighting in device.sightings if sighting.source in LIVE_SOURCES]
        if not live:
            continue
        live_count += 1
        key = settled_device_key(database, device, run, at_ms, ids - {device.id})
        _keep_attributes(database, key, device, live)
        _keep_sightings(database, key, live)
    database.execute("UPDATE run SET device_count = device_count + ? WHERE key = ?", [live_count, run])
    _forget_strangers(database, at_ms)


def known_devices(database: Database) -> list[KnownDevice]:
    """Return every device that was seen at least once, in the order of their ids."""
    return [
        KnownDevice(
            id=row["id"],
            mac=row["mac"],
            serial=row["serial"],
            name=row["name"],
            kind=row["kind"],
            address=row["address"],
            port=row["port"],
            first_seen=moment_of(row["first_seen"]),
            last_seen=moment_of(row["last_seen"]),
            last_read=None if row["last_read"] is None else moment_of(row["last_read"]),
            last_outcome=None if row["last_is_read"] is None else ("read" if row["last_is_read"] else "unreadable"),
        )
        for row in database.query("SELECT * FROM device WHERE first_seen IS NOT NULL ORDER BY id")
    ]


def _keep_attributes(database: Database, key: int, device: Device, live: Sequence[Sighting]) -> None:
    times = [milliseconds(sighting.seen_at) for sighting in live]
    # A retained announcement may be older than anything: it shows that a device exists, not that it is there now.
    dated = [milliseconds(sighting.seen_at) for sighting in live if sighting.is_dated]
    address, port = device.addresses[0] if device.addresses else (None, None)
    database.execute(
        "UPDATE device SET mac = ifnull(:mac, mac), serial = ifnull(:serial, serial), name = ifnull(:name, name),"
        " kind = ifnull(:kind, kind), port = iif(:address IS NULL, port, :port), address = ifnull(:address, address),"
        " first_seen = min(ifnull(first_seen, :first), :first),"
        " last_seen = max(ifnull(last_seen, ifnull(:last_dated, :first)),"
        " ifnull(:last_dated, ifnull(last_seen, :first)))"  # of undated evidence only, when it was first heard
        " WHERE key = :key",
        {
            "mac": _text(device.mac),
            "serial": _text(device.serial),
            "name": _text(device.name),
            "kind": _text(device.kind),
            "address": _text(address),
            "port": port,
            "first": min(times),
            "last_dated": max(dated, default=None),
            "key": key,
        },
    )


def _keep_sightings(database: Database, key: int, live: Sequence[Sighting]) -> None:
    for sighting in live:
        if sighting.source in EVIDENCE_SOURCES:
            database.execute(
                "INSERT INTO sighting VALUES (:device, :source, :name, :address, :at, :at, 1)"
                " ON CONFLICT (device, source, name, address) DO UPDATE SET"
                " first_seen = min(first_seen, :at), last_seen = max(last_seen, :at), count = count + 1",
                {
                    "device": key,
                    "source": sighting.source,
                    "name": kept_text(sighting.name or ""),
                    "address": kept_text(sighting.address or ""),
                    "at": milliseconds(sighting.seen_at),
                },
            )
    database.execute(
        "DELETE FROM sighting WHERE device = :device AND (source, name, address) IN (SELECT source, name, address"
        " FROM sighting WHERE device = :device ORDER BY last_seen DESC, source, name, address LIMIT -1 OFFSET :limit)",
        {"device": key, "limit": MAX_SIGHTINGS_PER_DEVICE},
    )


def _forget_strangers(database: Database, started_at_ms: int) -> None:
    """Forget the never-read devices that were not seen for longest, once there are too many of them.

    Those that had to do with the outside go last: what they did is what somebody may ask for. What was seen in this run
    stays: it may be about to be read, and discovery bounds how much that can be.
    """
    database.execute(
        "DELETE FROM device WHERE ifnull(last_seen, 0) < :started AND key IN (SELECT key FROM device"
        " WHERE last_read IS NULL AND key NOT IN (SELECT device FROM sign_off UNION SELECT device FROM placement"
        " UNION SELECT device FROM close_in WHERE device IS NOT NULL)"
        " ORDER BY EXISTS (SELECT 1 FROM encounter WHERE encounter.device = device.key) DESC,"
        " ifnull(last_seen, 0) DESC, key DESC LIMIT -1 OFFSET :limit)",
        {"started": started_at_ms, "limit": MAX_NEVER_READ_DEVICES},
    )


def _text(text: str | None) -> str | None:
    return None if text is None else kept_text(text)
