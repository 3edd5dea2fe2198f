"""What a person agreed to is kept as it was, by the device's present id."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattress.model.kept import SignOff
from pattress.model.vocabulary import Value
from pattress.store.sign_offs import keep_sign_offs, signed_off
from pattress.store.store import Store
from unit.store.builders import HALL, MAC, NIGHT, RELAY, device, minutes, opened, sighting

VALUES: st.SearchStrategy[Value] = (
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
    | st.sampled_from([True, 1, 1.0, "1", "true", -0.0])
)


def agreed(
    values: dict[str, Value] | None = None, *, device_id: str = HALL, why: str = "as planned", minute: float = 0
) -> SignOff:
    return SignOff(
        device=device_id,
        point="hall-lights",
        at=minutes(minute),
        who="Wren Okafor",
        why=why,
        values=RELAY if values is None else values,
    )


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.sampled_from(["mqtt.port", "net.ssid", "output.1.on"]), VALUES))
def test_values_come_back_with_their_types(values: dict[str, Value]) -> None:
    with opened(Path(":memory:")) as database:
        keep_sign_offs(database, [agreed(values)])

        found = signed_off(database)[HALL].values

    assert {name: repr(value) for name, value in found.items()} == {name: repr(value) for name, value in values.items()}


async def test_all_of_a_sign_off_comes_back(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.sign_off([agreed()])

        assert await store.signed_off() == {HALL: agreed()}


async def test_the_newest_counts_whatever_the_clock_said(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await store.sign_off([agreed(why="first", minute=60), agreed(why="second", minute=30)])
        await store.sign_off([agreed(why="third", minute=10), agreed(device_id="serial:S2", why="another device")])

        found = await store.signed_off()
        every = await store.sign_offs()

    assert {name: one.why for name, one in found.items()} == {HALL: "third", "serial:S2": "another device"}
    assert [one.why for one in every] == ["first", "second", "third", "another device"]


async def test_it_survives_that_a_device_becomes_better_known(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_devices(run, [device(sighting("Quill-1"), name="Quill-1")])
        await store.keep_devices(run, [device(sighting("Quill-2", mac=MAC), mac=MAC)])
        await store.sign_off([agreed(why="by its MAC"), agreed(device_id="name:Quill-1", why="by name")])

        await store.keep_devices(run, [device(sighting("Quill-1", mac=MAC), mac=MAC, name="Quill-1")])

        assert {name: one.why for name, one in (await store.signed_off()).items()} == {HALL: "by name"}


async def test_all_of_several_are_kept_or_none(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(ValueError, match="not a number"):
            await store.sign_off([agreed(), agreed({"meter.1.power_w": float("nan")}, device_id="serial:S2")])

        assert await store.signed_off() == {}


async def test_a_device_that_was_signed_off_is_not_forgotten_among_strangers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pattress.store.devices.MAX_NEVER_READ_DEVICES", 1)
    async with Store.open(tmp_path / "house.db") as store:
        await store.sign_off([agreed()])
        run = await store.begin_run(minutes(60), "digest")

        names = [f"Quill-{number}" for number in range(4)]
        await store.keep_devices(run, [device(sighting(name, at=minutes(50)), name=name) for name in names])
        run = await store.begin_run(minutes(120), "digest")
        await store.keep_devices(run, [])

        assert len(await store.known_devices()) == 1
        assert set(await store.signed_off()) == {HALL}
