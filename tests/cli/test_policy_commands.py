"""`pattress policy show`, `coverage` and `try`."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site

TODAY = datetime.now(UTC).date()
STRICT = """
id = "strict"
title = "Stricter than the house"
include = ["isolated-house"]

[[override]]
rule = "signal-strong"
severity = "fault"
require."net.rssi_dbm" = { at_least = -50 }
reason = "Thick walls."

[[override]]
rule = "restarts-few"
drop = true
reason = "Nobody counts them."

[[rule]]
id = "broker-sealed"
title = "TLS"
severity = "fault"
because = "b"
fix = "f"
require."mqtt.tls" = true
"""


@pytest.fixture
async def folder(tmp_path: Path) -> str:
    """A healthy house that was audited once, and is gone: whatever asks a device now gets no answer."""
    async with EmulatedHouse(faults=[], delay_s=(0.0, 0.02), wait_s=60) as house:
        folder = str(write_site(house, tmp_path, today=TODAY))
        ended = await pattress_command("audit", "--site", folder, "--listen", "1.5")
        assert ended.status == 0, ended.out
    (tmp_path / "strict.toml").write_text(STRICT, encoding="utf-8")
    return folder


async def test_a_shipped_policy_is_shown_without_any_site() -> None:
    listed = await pattress_command("policy", "show", "--policy", "isolated-house")
    document = (await pattress_command("policy", "show", "--policy", "isolated-house", "--json")).document

    own = [rule for rule in document["rules"] if not rule["is_built_in"]]
    assert listed.status == 0
    assert len(own) >= 30
    assert all(rule["id"] in listed.out for rule in document["rules"])
    assert all(rule["because"] and rule["fix"] and rule["cites"] and rule["requirements"] for rule in own)
    assert all(len(line) <= 120 for line in listed.out.splitlines())


async def test_one_rule_is_told_with_its_data_sheet_field_and_sources() -> None:
    words = ("policy", "show", "over-current-limit", "--policy", "isolated-house")
    text = await pattress_command(*words)
    [rule] = (await pattress_command(*words, "--json")).document["rules"]

    assert "rated_current_a" in text.out
    assert "To do:" in text.out
    [requirement] = rule["requirements"]
    assert (requirement["comparison"], requirement["operand_from"], requirement["field"], requirement["operand"]) == (
        "at_most",
        "data sheet",
        "rated_current_a",
        None,
    )


async def test_a_rule_that_is_not_there_is_wrong_usage_with_the_nearest() -> None:
    ended = await pattress_command("policy", "show", "cloud-of", "--policy", "isolated-house")

    assert ended.status == 2
    assert "Did you mean cloud-off?" in ended.err


async def test_a_policy_that_is_not_there_is_wrong_usage_with_the_nearest() -> None:
    ended = await pattress_command("policy", "show", "--policy", "isolated-hose")

    assert ended.status == 2
    assert "Did you mean isolated-house?" in ended.err


async def test_a_policy_with_faults_names_them_all(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(STRICT.replace("at_least = -50", "at_least = 50").replace("drop = true", "drop = 1"), "utf-8")

    ended = await pattress_command("policy", "show", "--policy", str(file))

    assert ended.status == 2
    assert ended.out == ""
    assert "line 9: override 1, require, net.rssi_dbm, at_least: found 50" in ended.err
    assert "line 14: override 2, drop: found 1" in ended.err


async def test_what_a_policy_overrides_is_shown(folder: str) -> None:
    strict = f"{folder}/strict.toml"
    text = await pattress_command("policy", "show", "signal-strong", "--policy", strict)
    dropped = await pattress_command("policy", "show", "restarts-few", "--policy", strict)
    document = (await pattress_command("policy", "show", "--policy", strict, "--json")).document

    assert "Overridden: severity, require by" in text.out
    assert "Thick walls." in " ".join(text.out.split())
    assert "Nobody counts them." in " ".join(dropped.out.split())
    assert [(one["rule"]["id"], one["reason"]) for one in document["dropped"]] == [
        ("restarts-few", "Nobody counts them.")
    ]
    assert [rule["id"] for rule in document["rules"] if rule["overridden"]] == ["signal-strong"]
    assert len(document["policy"]["files"]) == 2


async def test_every_rule_of_the_house_can_be_judged_somewhere_and_none_is_a_gap(folder: str) -> None:
    text = await pattress_command("policy", "coverage", "--site", folder)
    ended = await pattress_command("policy", "coverage", "--site", folder, "--json")

    assert text.status == ended.status == 0, text.out
    assert "CANNOT BE JUDGED" not in text.out
    rules = ended.document["rules"]
    assert [rule["rule"] for rule in rules if rule["gaps"] or rule["applies_to_nothing"]] == []
    assert len(ended.document["places"]) == 17
    assert ended.document["unreported"] == []


async def test_what_nobody_reports_and_what_no_setting_shows_is_told_with_status_3(folder: str) -> None:
    (Path(folder) / "thin.toml").write_text(
        'id = "thin"\ntitle = "Thin"\ninclude = ["consumer-baseline"]\n[[rule]]\nid = "idle"\ntitle = "t"\n'
        'severity = "fault"\nbecause = "b"\nfix = "f"\napplies = { class = "other" }\nrequire."mqtt.tls" = true\n'
        '[[rule]]\nid = "none"\ntitle = "t"\nseverity = "fault"\nbecause = "b"\nfix = "f"\n'
        'require."shutter.calibrated" = true\n',
        encoding="utf-8",
    )
    words = ("policy", "coverage", "--site", folder, "--policy", f"{folder}/thin.toml")

    text = await pattress_command(*words)
    ended = await pattress_command(*words, "--json")

    assert text.status == ended.status == 3
    by_rule = {rule["rule"]: rule for rule in ended.document["rules"]}
    assert by_rule["idle"]["applies_to_nothing"]
    assert {place["kind"] for place in by_rule["none"]["judged_at"]} == {"brackenvolt-hoist", "fennimoor-lift"}
    assert by_rule["none"]["gaps"][0]["reason"] == "brackenvolt-twin does not report it"
    assert len(ended.document["beyond"]) == 67
    assert "PROVISIONS THAT NO SETTING CAN SHOW: 67" in text.out


async def test_a_policy_is_tried_on_what_was_kept_though_no_device_is_there(folder: str) -> None:
    same = await pattress_command("policy", "try", "isolated-house", "--site", folder, "--json")
    stricter = await pattress_command("policy", "try", f"{folder}/strict.toml", "--site", folder, "--json")
    text = await pattress_command("policy", "try", f"{folder}/strict.toml", "--site", folder)

    assert same.status == 0
    assert same.document["counts"]["met"] > 400
    assert {outcome: same.document["counts"][outcome] for outcome in ("broken", "unverified", "waived")} == {
        "broken": 0,
        "unverified": 0,
        "waived": 0,
    }
    assert all(one["read_at"] for one in same.document["readings"])
    assert stricter.status == text.status == 1
    broken = {one["rule"] for one in stricter.document["findings"] if one["outcome"] == "broken"}
    assert broken == {"broker-sealed", "signal-strong"}
    assert {one["severity"] for one in stricter.document["findings"] if one["rule"] == "signal-strong"} == {"fault"}
    assert "strict tried; no device was asked" in text.out


async def test_a_trial_with_nothing_kept_says_what_to_do_first(tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))

    ended = await pattress_command("policy", "try", "isolated-house", "--site", str(tmp_path))

    assert ended.status == 2
    assert "there is no database yet" in ended.err


@pytest.mark.parametrize("command", ["show", "coverage", "try"])
async def test_each_explains_itself_with_an_example(command: str) -> None:
    ended = await pattress_command("policy", command, "--help")

    assert ended.status == 0
    assert f"Example: pattress policy {command}" in ended.out
