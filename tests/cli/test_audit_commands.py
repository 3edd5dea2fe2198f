"""The commands that talk to devices, against the emulated house."""

import asyncio
import os
import sys
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site

TODAY = datetime.now(UTC).date()


def files_in(folder: Path | str, pattern: str) -> list[Path]:
    return list(Path(folder).glob(pattern))


@pytest.fixture
async def house(request: pytest.FixtureRequest) -> AsyncIterator[EmulatedHouse]:
    faults = getattr(request, "param", ["cloud-left-on"])
    async with EmulatedHouse(faults=faults, delay_s=(0.0, 0.02), wait_s=60) as running:
        yield running


@pytest.fixture
def folder(house: EmulatedHouse, tmp_path: Path) -> str:
    return str(write_site(house, tmp_path, today=TODAY))


@pytest.mark.parametrize(
    ("house", "status"),
    [([], 0), (["cloud-left-on"], 1), (["never-answers"], 3), (["cloud-left-on", "never-answers"], 1)],
    indirect=["house"],
)
async def test_the_exit_status_says_how_the_audit_went(folder: str, status: int) -> None:
    """0 all met, 1 something broken, 3 nothing broken but something unverified."""
    ended = await pattress_command("audit", "--site", folder, "--listen", "1.5")

    assert ended.status == status, ended.out


async def test_what_cannot_be_loaded_has_status_2(folder: str) -> None:
    (Path(folder) / "points.toml").write_text("[[point]", encoding="utf-8")

    assert (await pattress_command("audit", "--site", folder)).status == 2


async def test_the_commands_tell_one_story(folder: str) -> None:
    audit = await pattress_command("audit", "--site", folder, "--listen", "2", "--json")
    devices = await pattress_command("devices", "--site", folder, "--json")
    history = await pattress_command(
        "history", "kitchen-worktop", "--setting", "cloud.enabled", "--site", folder, "--json"
    )
    reading = await pattress_command("read", "kitchen-worktop", "--site", folder, "--json")
    discovered = await pattress_command("discover", "--site", folder, "--listen", "2", "--json")

    broken = [one for one in audit.document["findings"] if one["outcome"] == "broken"]
    assert [(one["point"], one["setting"], one["value"]) for one in broken] == [
        ("kitchen-worktop", "cloud.enabled", True)
    ]
    assert audit.document["counts"]["broken"] == 1
    kitchen = next(one for one in devices.document["devices"] if one["point"] == "kitchen-worktop")
    assert kitchen["id"] == broken[0]["device"]
    assert kitchen["last_outcome"] == "read"
    [span] = history.document["spans"]
    assert (span["value"], span["until"]) == (True, None)
    assert reading.status == 0
    assert reading.document["settings"]["cloud.enabled"]["value"] is True
    assert discovered.status == 0
    assert {one["point"] for one in discovered.document["devices"]} >= {"kitchen-worktop", "stair-strip"}
    assert all(one["sightings"] for one in discovered.document["devices"])


async def test_the_same_as_text_for_people(folder: str) -> None:
    audit = await pattress_command("audit", "--site", folder, "--listen", "2")
    devices = await pattress_command("devices", "--site", folder)
    history = await pattress_command("history", "kitchen-worktop", "--site", folder)
    reading = await pattress_command("read", "kitchen-worktop", "--site", folder)
    discovered = await pattress_command("discover", "--site", folder, "--listen", "2")

    assert audit.out.index("BROKEN: 1") < audit.out.index("MET: ")
    assert "cloud.enabled is true, but must be false." in audit.out
    assert "\x1b" not in audit.out + audit.err
    assert "kitchen-worktop" in devices.out
    assert "cloud.enabled" in history.out
    assert "net.rssi_dbm" in reading.out
    assert "kitchen-worktop: " in discovered.out


@pytest.mark.parametrize("house", [["never-answers"]], indirect=True)
async def test_a_device_that_cannot_be_read_is_unverified(folder: str) -> None:
    ended = await pattress_command("read", "gate-release", "--site", folder)

    assert ended.status == 3
    assert "could not be read: no complete answer within 2 s" in ended.out


async def test_a_device_that_nobody_knows_is_wrong_usage(folder: str) -> None:
    ended = await pattress_command("read", "attic-lamp", "--site", folder, "--listen", "0.5")

    assert ended.status == 2
    assert "no device 'attic-lamp' is announced, kept or bound to a point" in ended.err


async def test_no_secret_is_shown_or_kept_anywhere(house: EmulatedHouse, folder: str) -> None:
    outputs = [
        await pattress_command("audit", "--site", folder, "--listen", "2"),
        await pattress_command("audit", "--site", folder, "--listen", "2", "--json"),
        await pattress_command("read", "kitchen-worktop", "--site", folder, "--json"),
        await pattress_command("discover", "--site", folder, "--listen", "1", "--json"),
        await pattress_command("check", "--site", folder, "--json"),
    ]

    kept = b"".join(file.read_bytes() for file in files_in(folder, "pattress.db*"))
    assert house.broker_secret is not None
    for secret in (*house.secrets.values(), house.broker_secret):
        assert all(secret not in ended.out + ended.err for ended in outputs)
        assert secret.encode() not in kept


async def test_the_demo_as_json_is_one_document_and_leaves_nothing_behind(tmp_path: Path) -> None:
    ended = await pattress_command("demo", "--json", environment={"TMPDIR": str(tmp_path)})

    assert ended.status == 0, ended.err
    assert ended.document["counts"]["broken"] > 0
    assert files_in(tmp_path, "*") == []


async def test_the_demo_cleans_up_after_an_interrupt(tmp_path: Path) -> None:
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "pattress", "demo"),
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    async with asyncio.timeout(30):
        # The demo says nothing of its folder; its site file is the sign that it runs.
        while not files_in(tmp_path, "*/site.toml"):  # noqa: ASYNC110
            await asyncio.sleep(0.05)
        process.send_signal(2)
        _, err = await process.communicate()

    assert process.returncode == 130, "common practice of shells: 128 + SIGINT"
    assert "Traceback" not in err.decode()
    assert files_in(tmp_path, "*") == []


async def test_a_reader_that_has_enough_is_no_error(folder: str) -> None:
    process = await asyncio.create_subprocess_shell(
        f"{sys.executable} -m pattress settings --json | head -c 10", stderr=asyncio.subprocess.PIPE, stdout=-3
    )
    _, err = await process.communicate()

    assert err == b""
