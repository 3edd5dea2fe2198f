"""Which row a device has, when its identity has become better known.

What belongs here: finding a row by present and former ids, renaming it, and joining two rows that turned out to be
one device. What does not: what a device is (that is `pattress.identity`).
"""

from collections.abc import Iterator

from sqlite_utils import Database

from pattress.model.device import Device
from pattress.store.days import join_days
from pattress.store.encoding import kept_text
from pattress.store.encounter_rows import MAX_INTEGER, join_encounters


def device_key(database: Database, device_id: str) -> int | None:
    """Return the row of a device by its id, failing that by an id that it had before, or None.

    An id that another device has taken since means that other device.
    """
    row = database.execute(
        "SELECT key FROM device WHERE id = :id"
        " UNION ALL SELECT device FROM former_id WHERE id = :id AND NOT EXISTS (SELECT 1 FROM device WHERE id = :id)",
        {"id": kept_text(device_id)},
    ).fetchone()
    return None if row is None else int(row[0])


def ensured_device_key(database: Database, device_id: str) -> int:
    """Return the row of a device, a new one (never seen) where there is none."""
    key = device_key(database, device_id)
    return _new_row(database, device_id) if key is None else key


def settled_device_key(database: Database, device: Device, run: int, at_ms: int, kept_apart: frozenset[str]) -> int:
    """Return the row of a device, with the history that it had under its less certain ids.

    A row under one of those is renamed; where the device already has a row, the other is joined to it. The ids
    in `kept_apart` belong to other devices of the same moment, whatever the names say.
    """
    exact = database.execute("SELECT key FROM device WHERE id = ?", [kept_text(device.id)]).fetchone()
    key = None if exact is None else int(exact[0])
    for other_id in _less_certain_ids(device):
        row = database.execute("SELECT key FROM device WHERE id = ?", [kept_text(other_id)]).fetchone()
        if row is None or other_id in kept_apart:
            continue
        if key is None:
            key = int(row[0])
            database.execute("UPDATE device SET id = ? WHERE key = ?", [kept_text(device.id), key])
        else:
            _join(database, int(row[0]), key, run, at_ms)
        _remember(database, other_id, key)
    return _new_row(database, device.id) if key is None else key


def _less_certain_ids(device: Device) -> Iterator[str]:
    """Yield the ids that the evidence would have given the device without what it says of MAC or serial.

    The name of a sighting that no profile recognised is left aside: it came to the device by its address, and an
    address is no identity.
    """
    names = {sighting.name for sighting in device.sightings if sighting.kind is not None} | {device.name}
    if device.serial is not None and device.mac is not None:
        yield f"serial:{device.serial}"
    if device.serial is not None or device.mac is not None:
        yield from (f"name:{name}" for name in sorted(name for name in names if name is not None))


def _new_row(database: Database, device_id: str) -> int:
    key = database.execute("INSERT INTO device (id) VALUES (?)", [kept_text(device_id)]).lastrowid
    assert key is not None  # noqa: S101 - an INSERT that did not raise has a row
    return key


def _remember(database: Database, former_id: str, key: int) -> None:
    row = {"id": kept_text(former_id), "device": key}
    database.table("former_id").insert(row, replace=True)


def _join(database: Database, former: int, key: int, run: int, at_ms: int) -> None:
    """Give everything of one row to another and delete it.

    Spans never overlap: of the former row's, what lies before the first span of the same setting is kept, and the
    rest is the same device's own account of the same time. Its open findings close; the run's own open again.
    """
    row = {"former": former, "key": key, "run": run, "at": at_ms}
    database.execute("UPDATE OR IGNORE reading SET device = :key WHERE device = :former", row)
    join_days(database, former, key)
    database.execute(
        "INSERT INTO sighting SELECT :key, source, name, address, first_seen, last_seen, count FROM sighting"
        " WHERE device = :former"
        " ON CONFLICT (device, source, name, address) DO UPDATE SET first_seen = min(first_seen, excluded.first_seen),"
        " last_seen = max(last_seen, excluded.last_seen), count = count + excluded.count",
        row,
    )
    _join_spans(database, former, key)
    database.execute(
        "UPDATE finding SET device = :key, closed_run = CASE WHEN closed_at IS NULL THEN :run ELSE closed_run END,"
        " closed_at = ifnull(closed_at, max(opened_at, :at)) WHERE device = :former",
        row,
    )
    database.execute("UPDATE former_id SET device = :key WHERE device = :former", row)
    database.execute("UPDATE sign_off SET device = :key WHERE device = :former", row)
    database.execute("UPDATE close_in SET device = :key WHERE device = :former", row)
    _join_placements(database, former, key)
    join_encounters(database, former, key)
    _join_watching(database, row)
    database.execute(
        "UPDATE device SET mac = ifnull(device.mac, old.mac), serial = ifnull(device.serial, old.serial),"
        " name = ifnull(device.name, old.name), kind = ifnull(device.kind, old.kind),"
        " first_seen = min(ifnull(device.first_seen, old.first_seen), ifnull(old.first_seen, device.first_seen)),"
        " last_seen = max(ifnull(device.last_seen, old.last_seen), ifnull(old.last_seen, device.last_seen)),"
        " last_read = max(ifnull(device.last_read, old.last_read), ifnull(old.last_read, device.last_read)),"
        " last_is_read = ifnull(device.last_is_read, old.last_is_read)"
        " FROM device AS old WHERE device.key = :key AND old.key = :former",
        row,
    )
    database.execute("DELETE FROM device WHERE key = :former", row)


def _join_spans(database: Database, former: int, key: int) -> None:
    firsts = dict(
        database.execute("SELECT setting, min(since) FROM span WHERE device = ? GROUP BY setting", [key]).fetchall()
    )
    for setting, since in database.execute("SELECT setting, since FROM span WHERE device = ?", [former]).fetchall():
        if setting in firsts and since >= firsts[setting]:
            continue  # deleted with its device
        database.execute(
            "UPDATE span SET device = :key, until = min(ifnull(until, :first), ifnull(:first, until))"
            " WHERE device = :former AND setting = :setting AND since = :since",
            {"key": key, "first": firsts.get(setting), "former": former, "setting": setting, "since": since},
        )


def _join_placements(database: Database, former: int, key: int) -> None:
    """Let one device have stood where two rows stood; what was a replacement of one by the other was none."""
    database.execute("UPDATE placement SET device = ? WHERE device = ?", [key, former])
    rows = database.execute("SELECT point, since, until FROM placement WHERE device = ?", [key]).fetchall()
    earlier: dict[int, tuple[int, int | None]] = {}
    for point, since, until in sorted(rows, key=lambda one: (one[0], one[1])):
        begun, ended = earlier.get(point, (since, None))
        if ended == since:
            database.execute("DELETE FROM placement WHERE point = ? AND since = ?", [point, since])
            database.execute("UPDATE placement SET until = ? WHERE point = ? AND since = ?", [until, point, begun])
            since = begun
        earlier[point] = (since, until)


def _join_watching(database: Database, row: dict[str, int]) -> None:
    """What one row was told of and the other, too, was told of once."""
    database.execute(
        "INSERT INTO company SELECT :key, hour, hosts, ports FROM company WHERE device = :former"
        " ON CONFLICT (device, hour) DO UPDATE SET"
        " hosts = max(hosts, excluded.hosts), ports = max(ports, excluded.ports)",
        row,
    )
    database.execute(
        "INSERT INTO told SELECT :key, kind, place, first_at, last_at, count, octets, told_at, told_count FROM told"
        " WHERE device = :former ON CONFLICT (device, kind, place) DO UPDATE SET"
        " first_at = min(first_at, excluded.first_at), last_at = max(last_at, excluded.last_at),"
        # A sum above the greatest integer would be a real number, which the column refuses.
        " count = count + min(excluded.count, :most - count), octets = octets + min(excluded.octets, :most - octets),"
        " told_at = max(ifnull(told_at, excluded.told_at), ifnull(excluded.told_at, told_at)),"
        " told_count = told_count + min(excluded.told_count, :most - told_count)",
        row | {"most": MAX_INTEGER},
    )
