"""Encounters gathered between two moments at which they are kept: those of one hour, device, remote and port are one.

What belongs here: adding them up, within a bound. What does not: keeping them.
"""

from dataclasses import replace
from datetime import datetime

from pattress.model.encounter import Encounter

MAX_ENCOUNTERS = 20_000  # about 700 bytes each, so 14 MB; above it a flood costs its remotes and ports, not its counts
MANY = "*"

Key = tuple[str, str, str, int | None, int | None, datetime]


class Gathering:
    """What has come since it was last taken."""

    def __init__(self) -> None:
        self._encounters: dict[Key, Encounter] = {}

    def add(self, encounter: Encounter) -> None:
        """Add an encounter to what there is of its like."""
        key = _key(encounter)
        if key not in self._encounters and len(self._encounters) >= MAX_ENCOUNTERS:
            encounter = replace(encounter, remote=MANY, name=None, protocol=None, port=None)
            key = _key(encounter)
        earlier = self._encounters.get(key)
        self._encounters[key] = encounter if earlier is None else joined(earlier, encounter)

    def take(self) -> list[Encounter]:
        """Return all of it, and begin anew."""
        taken, self._encounters = self._encounters, {}
        return list(taken.values())


def joined(earlier: Encounter, later: Encounter) -> Encounter:
    """Return two encounters of one sort as one."""
    return replace(
        earlier,
        first_at=min(earlier.first_at, later.first_at),
        last_at=max(earlier.last_at, later.last_at),
        name=later.name or earlier.name,
        packets_out=earlier.packets_out + later.packets_out,
        octets_out=earlier.octets_out + later.octets_out,
        packets_in=earlier.packets_in + later.packets_in,
        octets_in=earlier.octets_in + later.octets_in,
        count=earlier.count + later.count,
        sources=tuple(dict.fromkeys((*earlier.sources, *later.sources))),
        remark=later.remark or earlier.remark,
    )


def _key(one: Encounter) -> Key:
    hour = one.first_at.replace(minute=0, second=0, microsecond=0)
    return one.device, one.kind, one.remote, one.protocol, one.port, hour
