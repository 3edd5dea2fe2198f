"""Whatever a stranger writes into a name or a value is text, and nothing but text."""

from pathlib import Path

import pytest

from pattress.model.finding import Subject
from pattress.store.store import Store
from unit.store.builders import NIGHT, ask, device, finding, minutes, sighting, snapshot, unreadable

HOSTILE = [
    "'; DROP TABLE device; --",
    '" OR 1=1 --',
    "%s {0} {name} :id ?1 @x $y",
    "a\0b",
    "\0",
    "💡🏠‍👩‍👧 \u202e\u0007\n\t",
    "é vs e\u0301",
    "NULL",
    " ",
    "x'00'",
    "[hall] `lights` \\ ''",
]


@pytest.mark.parametrize("text", HOSTILE)
async def test_hostile_text_comes_back_as_it_was(text: str, tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    async with Store.open(path) as store:
        run = await store.begin_run(NIGHT, text)
        by_name = device(sighting(text, address=text), name=text)
        await store.keep_devices(run, [by_name])
        await store.keep_readings(run, [snapshot({"net.ssid": text}, device=by_name.id)])
        await store.keep_readings(run, [unreadable(text, device=by_name.id, at=minutes(1))])
        subject = Subject(device=by_name.id, point=text)
        odd = finding("unverified", about=subject, expected=text, value=None, remark=text, setting=text)
        await store.keep_findings(run, [odd], NIGHT)

        (known,) = await store.known_devices()
        assert (known.id, known.name, known.address) == (f"name:{text}", text, text)
        assert [span.value for span in await store.history(known.id)] == [text]
        assert [reading.reason for reading in await store.readings_of(known.id)] == [text, None]
        (open_finding,) = await store.open_findings()
        assert (open_finding.point, open_finding.expected, open_finding.reason) == (text, text, text)
        assert (await store.runs())[0].policy_digest == text
    assert ask(path, "PRAGMA integrity_check") == [("ok",)]


async def test_a_lone_surrogate_is_replaced_and_still_found_by_its_own_name(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        odd = device(sighting("hall\ud83d"), name="hall\ud83d")

        await store.keep_devices(run, [odd])
        await store.keep_readings(run, [snapshot({"net.ssid": "x\udc00"}, device=odd.id)])

        assert [known.name for known in await store.known_devices()] == ["hall?"]
        assert [span.value for span in await store.history(odd.id)] == ["x?"]


async def test_two_long_names_with_the_same_beginning_are_two_devices(tmp_path: Path) -> None:
    names = ["a" * 5000 + end for end in ("1", "2")]
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")

        await store.keep_devices(run, [device(sighting(name), name=name) for name in names])
        await store.keep_readings(run, [snapshot({"mqtt.port": 1}, device=f"name:{names[1]}")])

        assert len(await store.known_devices()) == 2
        assert await store.history(f"name:{names[0]}") == []
        assert len(await store.history(f"name:{names[1]}")) == 1
