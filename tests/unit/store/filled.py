"""A database with something of everything in it. No tests here."""

from datetime import timedelta
from pathlib import Path

from pattress.model.kept import SignOff
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, RELAY, device, finding, sighting, snapshot, unreadable
from unit.store.checked import keep_a_check
from unit.store.watched import keep_all_sorts, names, tried

NIGHTS = 30


async def fill_with_everything(path: Path) -> None:
    """Thirty nights of two devices, one of them read every half hour, thinned as they go; and what one tried."""
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT - timedelta(days=1), "digest")
        await store.keep_devices(run, [device(sighting("Quill-1"), name="Quill-1")])
        for night in range(NIGHTS):
            at = NIGHT + timedelta(days=night)
            run = await store.begin_run(at, "digest")
            hall = device(sighting("Quill-1", mac=MAC, at=at), mac=MAC, name="Quill-1")
            values = RELAY | {"output.1.at_power_up": "on" if night % 10 == 9 else "off"}
            await store.keep_audit(
                run,
                devices=[hall],
                readings=[snapshot(values, at=at), unreadable(device="serial:S2", at=at)],
                placed={"hall-lights": HALL if night < 20 else "serial:S2"},
                findings=[finding("broken" if night % 10 == 9 else "met")],
                ended_at=at + timedelta(seconds=20),
                counts={"met": 10},
            )
            half_hours = [at + timedelta(minutes=30 * number) for number in range(1, 40)]
            await store.keep_readings(run, [snapshot(values, at=one) for one in half_hours])
            await keep_all_sorts(store, [tried(at), *names(3, at=at)])
            await store.thin(at)
        await keep_a_check(store)
        await store.sign_off(
            [SignOff(device=HALL, point="hall-lights", at=NIGHT, who="Wren Okafor", why="as planned", values=RELAY)]
        )
