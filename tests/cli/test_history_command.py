"""`pattress history` of devices and points, now and at a moment of the past."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.model.device import Device, Sighting
from pattress.model.reading import Reported, Snapshot
from pattress.store.store import Store

FIRST = datetime(2026, 3, 1, 2, 30, tzinfo=UTC)
MACS = ("02:00:5e:00:53:01", "02:00:5e:00:53:02")
UTC_ZONE = {"TZ": "UTC"}


def snapshot(mac: str, port: int, at: datetime) -> Snapshot:
    values = {"mqtt.port": Reported(value=port, origin="GET /facts")}
    return Snapshot(device=f"mac:{mac}", kind="tidewire-r1", taken_at=at, duration_s=0.1, values=values)


def device(mac: str, at: datetime) -> Device:
    sighting = Sighting(source="mdns", seen_at=at, name="Quill", address="192.0.2.17", mac=mac)
    return Device(id=f"mac:{mac}", mac=mac, serial=None, name="Quill", kind=None, addresses=(), sightings=(sighting,))


@pytest.fixture
async def folder(tmp_path: Path) -> str:
    """A site where the module at hall-lights was replaced after two days; each had port 1883, then 8883."""
    await pattress_command("init", str(tmp_path))
    async with Store.open(tmp_path / "pattress.db") as store:
        for day, (mac, port) in enumerate([(MACS[0], 1883), (MACS[0], 8883), (MACS[1], 1883), (MACS[1], 8883)]):
            at = FIRST + timedelta(days=day)
            run = await store.begin_run(at, "digest")
            await store.keep_audit(
                run,
                devices=[device(mac, at)],
                readings=[snapshot(mac, port, at)],
                placed={"hall-lights": f"mac:{mac}"},
                findings=[],
                ended_at=at,
                counts={"met": 1},
            )
    return str(tmp_path)


async def test_the_history_of_a_point_goes_on_when_its_module_is_replaced(folder: str) -> None:
    ended = await pattress_command("history", "hall-lights", "--site", folder, "--json")

    document = ended.document
    assert [(span["device"], span["value"]) for span in document["spans"]] == [
        (f"mac:{MACS[0]}", 1883),
        (f"mac:{MACS[0]}", 8883),
        (f"mac:{MACS[1]}", 1883),
        (f"mac:{MACS[1]}", 8883),
    ]
    assert [span["since"] for span in document["spans"]] == [f"2026-03-0{day}T02:30:00.000Z" for day in (1, 2, 3, 4)]
    assert (document["device"]["id"], document["device"]["point"]) == (f"mac:{MACS[1]}", "hall-lights")


async def test_as_text_each_span_of_a_point_says_its_device(folder: str) -> None:
    ended = await pattress_command("history", "hall-lights", "--site", folder, environment=UTC_ZONE)

    assert f"2026-03-02 02:30 to 2026-03-03 02:30  8883  (mac:{MACS[0]})" in ended.out
    assert f"2026-03-04 02:30 to now               8883  (mac:{MACS[1]})" in ended.out


async def test_the_history_of_a_device_is_its_own(folder: str) -> None:
    ended = await pattress_command("history", MACS[0], "--site", folder, "--json")

    assert [(span["device"], span["value"], span["until"]) for span in ended.document["spans"]] == [
        (f"mac:{MACS[0]}", 1883, "2026-03-02T02:30:00.000Z"),
        (f"mac:{MACS[0]}", 8883, None),
    ]


@pytest.mark.parametrize(
    ("when", "found"),
    [
        ("2026-02-28", []),
        ("2026-03-01", []),
        ("2026-03-01T02:30:00Z", [(MACS[0], 1883)]),
        ("2026-03-02T02:29:59", [(MACS[0], 1883)]),
        ("2026-03-02T03:30:00+01:00", [(MACS[0], 8883)]),
        ("2026-03-03T02:30", [(MACS[1], 1883)]),
        ("2030-01-01", [(MACS[1], 8883)]),
    ],
)
async def test_at_shows_what_was_so_then(folder: str, when: str, found: list[tuple[str, int]]) -> None:
    ended = await pattress_command(
        "history", "hall-lights", "--at", when, "--site", folder, "--json", environment=UTC_ZONE
    )

    assert [(span["device"].removeprefix("mac:"), span["value"]) for span in ended.document["spans"]] == found


async def test_a_moment_without_a_zone_is_local(folder: str) -> None:
    zone = {"TZ": "Etc/GMT-3"}  # three hours ahead of UTC, as POSIX has the sign

    before, after = [
        await pattress_command("history", "hall-lights", "--at", when, "--site", folder, "--json", environment=zone)
        for when in ("2026-03-01T05:29", "2026-03-01T05:30")
    ]

    assert before.document["spans"] == []
    assert [span["value"] for span in after.document["spans"]] == [1883]


@pytest.mark.parametrize("when", ["yesterday", "2026-02-30", "", "0001-01-01T00:00+23:00"])
async def test_what_is_no_moment_is_wrong_usage(folder: str, when: str) -> None:
    ended = await pattress_command("history", "hall-lights", "--at", when, "--site", folder)

    assert ended.status == 2
    assert "is no date or date and time" in ended.err
    assert "2026-03-01T07:30" in ended.err
    assert ended.out == ""


@pytest.mark.parametrize("words", [("history", "attic"), ("compare", "hall-lights", "attic")])
async def test_a_device_that_nobody_knows_is_an_error_of_the_command_that_was_given(
    folder: str, words: tuple[str, ...]
) -> None:
    ended = await pattress_command(*words, "--site", folder)

    assert (ended.status, ended.err.startswith(f"pattress {words[0]}: no device 'attic' was ever seen.")) == (2, True)
