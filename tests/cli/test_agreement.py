"""`sign-off` and `waive`, against the emulated house."""

import re
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site

TODAY = datetime.now(UTC).date()
AGREED = ("--who", "A. Fitter", "--why", "fitted and tried")


@pytest.fixture
async def house() -> AsyncIterator[EmulatedHouse]:
    async with EmulatedHouse(faults=[], delay_s=(0.0, 0.02), wait_s=60) as running:
        yield running


@pytest.fixture
def folder(house: EmulatedHouse, tmp_path: Path) -> str:
    return str(write_site(house, tmp_path, today=TODAY))


async def test_what_changes_after_a_sign_off_is_drift_until_it_is_signed_off_again(
    house: EmulatedHouse, folder: str
) -> None:
    where = ("--site", folder, "--listen", "1.5")
    signed = await pattress_command("sign-off", "--all", *AGREED, *where, "--json")
    await house.switch("switch-still-acts", True)
    drifted = await pattress_command("audit", *where, "--json")
    again = await pattress_command("sign-off", "yard-lights", *AGREED, *where)
    after = await pattress_command("audit", *where, "--json")

    assert signed.status == 0
    assert {one["point"] for one in signed.document["signed"]} == set(house.modules)
    drift = [
        one for one in drifted.document["findings"] if one["rule"] == "as-signed-off" and one["outcome"] == "broken"
    ]
    assert [(one["point"], one["setting"], one["before"], one["value"]) for one in drift] == [
        ("yard-lights", "input.1.action", "reports", "copies")
    ]
    assert drift[0]["since"] is not None
    assert "it also breaks input-as-planned" in drift[0]["sentence"]
    assert again.status == 0
    assert "Signed off with" in again.err
    broken = [one["rule"] for one in after.document["findings"] if one["outcome"] == "broken"]
    assert broken == ["input-as-planned"]


async def test_two_devices_and_two_moments_can_be_compared(house: EmulatedHouse, folder: str) -> None:
    where = ("--site", folder)
    await pattress_command("audit", *where, "--listen", "1.5")
    between = datetime.now(UTC).isoformat()
    await house.switch("switch-still-acts", True)
    await pattress_command("audit", *where, "--listen", "1.5")

    moments = await pattress_command("compare", f"yard-lights@{between}", "yard-lights", *where, "--json")
    devices = await pattress_command("compare", "landing-lights", "cellar-lights", *where)
    kinds = await pattress_command("compare", "landing-lights", "gate-release", *where)

    different = [one for one in moments.document["settings"] if one["first"] != one["second"]]
    assert different == [{"setting": "input.1.action", "first": "reports", "second": "copies"}]
    assert "serial" in devices.out
    assert kinds.status == 2
    assert "their settings do not mean the same" in kinds.err


async def test_an_audit_can_tell_only_what_has_changed(house: EmulatedHouse, folder: str) -> None:
    where = ("--site", folder, "--listen", "1.5")
    await house.switch("cloud-left-on", True)
    await house.switch("old-firmware", True)
    await pattress_command("audit", *where)
    await house.switch("old-firmware", False)
    await house.switch("no-password", True)

    text = await pattress_command("audit", *where, "--since", "last")
    document = (await pattress_command("audit", *where, "--since", "last", "--json")).document
    long_ago = (await pattress_command("audit", *where, "--since", "2020-01-01", "--json")).document
    wrong = await pattress_command("audit", *where, "--since", "yesterday")

    assert text.status == 1
    assert "NEW SINCE the last audit: 1" in text.out
    assert "access.password_set is false" in text.out
    assert "hall-lights: firmware-as-planned, firmware.version was broken" in text.out
    assert "cloud.enabled" not in text.out
    assert document["changes"] == {"new": [], "over": [], "unchanged": 2}
    assert {one["rule"] for one in long_ago["changes"]["new"]} == {"cloud-off", "password-set"}
    assert wrong.status == 2


async def test_what_was_not_read_is_not_signed_off(house: EmulatedHouse, folder: str) -> None:
    await house.switch("never-answers", True)

    ended = await pattress_command("sign-off", "--all", *AGREED, "--site", folder, "--listen", "1.5", "--json")

    assert ended.status == 3
    assert [one["title"] for one in ended.document["unread"]] == ["gate-release"]
    assert len(ended.document["signed"]) == len(house.modules) - 1


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--all", "--who", "A"],
        ["--all", "--why", "w"],
        ["hall-lights", "--all", *AGREED],
        ["--all", "--who", " ", "--why", " "],
    ],
)
async def test_an_agreement_needs_a_device_a_name_and_a_reason(words: list[str], folder: str) -> None:
    ended = await pattress_command("sign-off", *words, "--site", folder)

    assert ended.status == 2
    assert ended.out == ""


async def test_a_waiver_is_added_and_accepts_what_it_names(house: EmulatedHouse, folder: str) -> None:
    await house.switch("old-firmware", True)
    file = Path(folder) / "waivers.toml"
    before = file.read_text("utf-8")
    until = (TODAY + timedelta(days=30)).isoformat()

    waived = await pattress_command(
        *("waive", "firmware-as-planned", "--point", "hall-lights", "--until", until, "--site", folder),
        *("--reason", 'the new one is "on hold" \\ later', "--who", "A. Fitter"),
    )
    audit = await pattress_command("audit", "--site", folder, "--listen", "1.5", "--json")

    assert waived.status == 0, waived.err
    assert file.read_text("utf-8").startswith(before.rstrip("\n"))
    assert audit.status == 0
    [accepted] = [one for one in audit.document["findings"] if one["outcome"] == "waived"]
    assert accepted["waiver"]["reason"] == 'the new one is "on hold" \\ later'


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["no-such-rule", "--point", "hall-lights"], "no-such-rule"),
        (["signal-strong", "--point", "no-such-point"], "no-such-point"),
        (["signal-strong"], "exactly one of point and device"),
        (["cloud-off", "--point", "hall-lights"], "safe_because"),
    ],
)
async def test_a_waiver_that_would_be_wrong_changes_nothing(words: list[str], complaint: str, folder: str) -> None:
    file = Path(folder) / "waivers.toml"
    before = file.read_bytes()
    until = (TODAY + timedelta(days=30)).isoformat()

    ended = await pattress_command("waive", *words, "--reason", "r", "--who", "w", "--until", until, "--site", folder)

    assert ended.status == 2
    assert complaint in ended.err
    assert file.read_bytes() == before
    assert [path.name for path in file.parent.glob(".waivers-*")] == []


async def test_a_waiver_lasts_at_most_a_year(folder: str) -> None:
    until = (TODAY + timedelta(days=400)).isoformat()

    ended = await pattress_command(
        *("waive", "signal-strong", "--point", "hall-lights", "--reason", "r", "--who", "w"),
        *("--until", until, "--site", folder),
    )

    assert ended.status == 2
    assert "366 days" in ended.err


async def test_the_doctor_says_what_is_right_and_what_would_make_an_audit_blind(folder: str) -> None:
    well = await pattress_command("doctor", "--site", folder, "--json")
    site = Path(folder) / "site.toml"
    (Path(folder) / "secrets" / "broker").chmod(0o644)
    text = re.sub(r"^port = \d+", "port = 1", site.read_text("utf-8"), flags=re.MULTILINE)
    site.write_text(text.replace('["127.0.0.1"]', '["203.0.113.1"]'), "utf-8")
    ill = await pattress_command("doctor", "--site", folder, "--json")

    outcomes = {one["name"]: one["outcome"] for one in well.document["diagnoses"]}
    assert {outcomes[name] for name in ("secrets", "store", "network", "mdns", "broker", "broker-delivers")} == {"met"}
    wrong = {one["name"]: one for one in ill.document["diagnoses"] if one["outcome"] == "broken"}
    assert {"secrets", "network", "mdns", "broker"} <= set(wrong)
    assert all(one["remedy"] for one in wrong.values())
    assert ill.status == 1
