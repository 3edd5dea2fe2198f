"""`init`, `check`, `settings`, and what is common to all commands."""

from pathlib import Path

import pytest

from cli.running import pattress_command


async def test_a_starter_site_is_written_and_has_no_fault(tmp_path: Path) -> None:
    written = await pattress_command("init", str(tmp_path / "house"))
    checked = await pattress_command("check", "--site", str(tmp_path / "house"))

    assert written.status == 0
    assert {Path(line).name for line in written.out.splitlines()} >= {"site.toml", "points.toml", "waivers.toml"}
    assert checked.status == 0, checked.err
    assert checked.out.endswith("No fault found.\n")
    assert checked.out.startswith("My house: 0 points, ")


async def test_check_counts_one_in_the_singular(tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))
    (tmp_path / "points.toml").write_text(
        '[[point]]\nname = "hall"\nroom = "Hall"\nkind = "brackenvolt-dry"\n', encoding="utf-8"
    )

    checked = await pattress_command("check", "--site", str(tmp_path))

    assert checked.out.startswith("My house: 1 point, ")


async def test_init_never_overwrites(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text("mine", encoding="utf-8")

    refused = await pattress_command("init", str(tmp_path))

    assert refused.status == 2
    assert (tmp_path / "site.toml").read_text(encoding="utf-8") == "mine"


async def test_check_reports_the_faults_of_all_files_at_once(tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))
    (tmp_path / "points.toml").write_text('[[point]]\nname = "a"\nroom = "Hall"\nkind = "no-such-kind"\n', "utf-8")
    (tmp_path / "waivers.toml").write_text('[[waiver]]\nrule = "cloud-of"\npoint = "a"\n', encoding="utf-8")

    text = await pattress_command("check", "--site", str(tmp_path))
    document = (await pattress_command("check", "--site", str(tmp_path), "--json")).document

    assert text.status == 2
    assert text.out == ""
    assert "points.toml, line 4" in text.err
    assert "waivers.toml" in text.err
    assert document["is_valid"] is False
    assert {Path(fault["file"]).name for fault in document["faults"]} == {"points.toml", "waivers.toml"}


async def test_check_as_json_says_that_a_site_is_valid(tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))

    ended = await pattress_command("check", "--site", str(tmp_path), "--json")

    assert ended.status == 0
    assert ended.document["is_valid"] is True


async def test_settings_lists_one_section_and_refuses_an_unknown_one() -> None:
    text = await pattress_command("settings", "input")
    document = (await pattress_command("settings", "--json")).document
    wrong = await pattress_command("settings", "inputs")

    assert "input.N.action" in text.out
    assert "output.N.on" not in text.out
    assert len(document["settings"]) > 50
    assert wrong.status == 2
    assert "there is no section 'inputs'" in wrong.err


@pytest.mark.parametrize("words", [["audit", "--nonsense"], ["nonsense"], ["read"], ["audit", "--listen", "0"]])
async def test_wrong_usage_has_status_2_and_an_empty_stdout(words: list[str]) -> None:
    ended = await pattress_command(*words)

    assert ended.status == 2
    assert ended.out == ""
    assert ended.err


@pytest.mark.parametrize(
    "command", ["audit", "check", "demo", "devices", "discover", "history", "init", "read", "settings"]
)
async def test_every_command_explains_itself_with_an_example(command: str) -> None:
    ended = await pattress_command(command, "--help")

    assert ended.status == 0
    assert f"Example: pattress {command}" in ended.out


async def test_no_site_is_an_error_that_names_the_way_out(tmp_path: Path) -> None:
    ended = await pattress_command("audit", "--site", str(tmp_path))

    assert ended.status == 2
    assert "pattress init" in ended.err
    assert "Traceback" not in ended.err


@pytest.mark.parametrize("command", [["devices"], ["history", "hall"]])
async def test_what_needs_a_database_says_so_where_there_is_none(command: list[str], tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))

    ended = await pattress_command(*command, "--site", str(tmp_path))

    assert ended.status == 2
    assert "there is no database yet" in ended.err
    assert not (tmp_path / "pattress.db").exists()


async def test_version_is_that_of_the_package() -> None:
    from pattress import __version__

    assert (await pattress_command("--version")).out == f"pattress {__version__}\n"
