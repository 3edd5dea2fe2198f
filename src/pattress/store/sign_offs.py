"""Sign-offs: the readings that people agreed to. Every function works inside somebody else's transaction.

What belongs here: keeping and giving them back. What does not: comparing a reading with one (that is `policy`).
"""

import json
from collections.abc import Sequence

from sqlite_utils import Database

from pattress.model.kept import SignOff
from pattress.model.vocabulary import Value
from pattress.store.encoding import kept_text, kept_value, milliseconds, moment_of
from pattress.store.lineage import ensured_device_key
from pattress.store.words import Words


def keep_sign_offs(database: Database, agreed: Sequence[SignOff]) -> None:
    """Keep sign-offs, in their order: of two for one device the later one counts.

    Raises:
        ValueError: If a time has no time zone, or a value is a number that cannot be kept.
    """
    words = Words(database)
    for one in agreed:
        names = sorted(one.values)
        database.execute(
            "INSERT INTO sign_off (device, point, at, who, why, layout, signed) VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                ensured_device_key(database, one.device),
                words.key_or_none(one.point),
                milliseconds(one.at),
                words.key(one.who),
                kept_text(one.why),
                words.layout_key(names),
                json.dumps([_kept(one.values[name]) for name in names], allow_nan=False, separators=(",", ":")),
            ],
        )


def signed_off(database: Database) -> dict[str, SignOff]:
    """Return the newest sign-off of each device that has one, by the device's present id."""
    return {one.device: one for one in _sign_offs(database, is_newest_only=True)}


def all_sign_offs(database: Database) -> list[SignOff]:
    """Return every sign-off, the oldest first."""
    return _sign_offs(database, is_newest_only=False)


def _sign_offs(database: Database, *, is_newest_only: bool) -> list[SignOff]:
    rows = database.query(
        "SELECT device.id AS device, point.text AS point, at, who.text AS who, why, names, signed FROM sign_off"
        " JOIN device ON device.key = sign_off.device JOIN word AS who ON who.key = sign_off.who"
        " LEFT JOIN word AS point ON point.key = sign_off.point JOIN layout ON layout.key = sign_off.layout"
        " WHERE NOT :newest OR sign_off.key IN (SELECT max(key) FROM sign_off GROUP BY device) ORDER BY sign_off.key",
        {"newest": is_newest_only},
    )
    return [
        SignOff(
            device=row["device"],
            point=row["point"],
            at=moment_of(row["at"]),
            who=row["who"],
            why=row["why"],
            values=dict(zip(json.loads(row["names"]), json.loads(row["signed"]), strict=True)),
        )
        for row in rows
    ]


def _kept(value: Value) -> Value:
    """Return a value as JSON gives it back: the same, less what no column could hold."""
    _, column = kept_value(value)
    return value if isinstance(value, bool) else column
