"""Small examples of what comes of watching. No tests here."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from pattress.model.encounter import Company, Encounter, Hearing, KeptTemplate, Told
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, minutes

TRIED = Encounter(
    kind="tried",
    device=HALL,
    remote="203.0.113.7",
    first_at=NIGHT,
    last_at=NIGHT,
    protocol=6,
    port=443,
    packets_out=2,
    octets_out=120,
    sources=("router-flows",),
)
HEARD = Hearing(
    source="router-flows", hour=NIGHT.replace(minute=0), listened_s=1800.5, listened_from=minutes(-15),
    listened_until=minutes(18), heard_at=minutes(12), heard=40, lost=1, unmatched=2,
)  # fmt: skip
COMPANY = Company(device=HALL, hour=NIGHT.replace(minute=0), hosts=3, ports=2)
TOLD = Told(
    device=HALL, kind="tried", place="203.0.113.0/24", first_at=NIGHT, last_at=NIGHT, count=4, octets=480,
    told_at=NIGHT, told_count=1,
)  # fmt: skip
TEMPLATE = KeptTemplate(
    exporter="192.0.2.1", exporter_port=34567, version=10, domain=0, template=256, is_options=False,
    record=b"\x01\x00\x00\x01\x00\x08\x00\x04", at=NIGHT,
)  # fmt: skip


def tried(at: datetime = NIGHT, *, device: str = HALL, remote: str = "203.0.113.7") -> Encounter:
    return replace(TRIED, device=device, remote=remote, first_at=at, last_at=at)


def names(count: int, *, at: datetime = NIGHT, first: int = 0) -> list[Encounter]:
    """Lookups of ever new names."""
    return [
        Encounter(kind="asked", device=HALL, remote=f"n{number:05}.example", first_at=at, last_at=at)
        for number in range(first, first + count)
    ]


async def keep(store: Store, *encounters: Encounter) -> None:
    await store.keep_encounters(encounters, [], [])


async def keep_all_sorts(store: Store, encounters: Sequence[Encounter] = (TRIED,)) -> None:
    await store.keep_encounters(encounters, [HEARD], [COMPANY], told=[TOLD], places={"resolver": '{"offset": 7}'})
    await store.keep_templates([TEMPLATE])
