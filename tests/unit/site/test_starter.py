"""The site to start from."""

import stat
from datetime import date
from pathlib import Path

import pytest

from pattress.model.circuit import Drive
from pattress.model.errors import UsageError
from pattress.site.files import read_toml
from pattress.site.load import load_site
from pattress.site.profile_file import profile_of
from pattress.site.starter import write_starter

TODAY = date(2026, 11, 25)


def test_a_new_site_loads_as_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "house"

    written = write_starter(folder)
    site = load_site(folder, today=TODAY)

    assert [path.relative_to(folder).as_posix() for path in written] == [
        "points.toml",
        "profiles",
        "profiles/example.toml.txt",
        "secrets",
        "site.toml",
        "waivers.toml",
    ]
    assert (site.policy.id, site.plan.points, site.waivers) == ("isolated-house", (), ())


def test_only_the_owner_may_look_into_the_secrets_folder(tmp_path: Path) -> None:
    write_starter(tmp_path)

    mode = stat.S_IMODE((tmp_path / "secrets").stat().st_mode)

    assert mode == 0o700


def test_the_example_profile_is_right_once_it_is_renamed(tmp_path: Path) -> None:
    write_starter(tmp_path)

    file = read_toml(tmp_path / "profiles/example.toml.txt", "example")
    profile = profile_of(file)

    assert file.faults == []
    assert profile is not None
    assert profile.id == "example-relay"


def test_what_is_commented_out_is_right_once_it_is_not(tmp_path: Path) -> None:
    write_starter(tmp_path)
    (tmp_path / "profiles/example.toml.txt").rename(tmp_path / "profiles/example.toml")
    (tmp_path / "example.mud.json").write_text("{}")
    (tmp_path / "secrets/broker").write_text("a\n")
    (tmp_path / "secrets/modules").write_text("b\n")
    for file in tmp_path.glob("*.toml"):
        file.write_text("\n".join(map(_uncommented, file.read_text(encoding="utf-8").splitlines())))

    site = load_site(tmp_path, today=TODAY)

    assert [point.name for point in site.plan.points] == ["hall-lights"]
    assert site.plan.points[0].settings["input.1.action"] == "impulse"
    assert site.plan.points[0].drives == (Drive(input=1, channel="output.1"),)
    assert site.plan.points[0].circuit is not None
    assert [load.total_w for load in site.plan.points[0].circuit.loads] == [54]
    assert site.plan.points[0].circuit.box is not None
    assert [other.name for other in site.plan.others] == ["door-camera"]
    assert [waiver.rule for waiver in site.waivers] == ["over-temperature-on"]
    assert [broker.port for broker in site.brokers] == [8883]
    assert [credential.kind for credential in site.credentials] == ["example-relay"]
    assert [source.kind for source in site.watching.sources] == ["flows", "firewall", "names", "connections"]
    assert [allowance.name for allowance in site.watching.allowances] == ["*.pool.example"]
    assert [mud.kind for mud in site.watching.mud_files] == ["example-relay"]
    assert len(site.networks.outside) == 1


def _uncommented(line: str) -> str:
    """A line of TOML that was commented out, as it was; the house's certificate is none of the starter's files."""
    bare = line.removeprefix("# ")
    is_toml = bare.startswith("[") or " = " in bare.split("#")[0]
    return bare if is_toml and "ca_file" not in bare else line


def test_a_folder_that_holds_a_site_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text("mine")

    with pytest.raises(UsageError, match="there is a site here already"):
        write_starter(tmp_path)

    assert [path.name for path in tmp_path.iterdir()] == ["site.toml"]
    assert (tmp_path / "site.toml").read_text() == "mine"


def test_files_that_are_there_are_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "points.toml").write_text("# mine\n")

    written = write_starter(tmp_path)

    assert (tmp_path / "points.toml").read_text() == "# mine\n"
    assert tmp_path / "points.toml" not in written
    assert tmp_path / "site.toml" in written


def test_a_folder_that_cannot_be_made_is_a_usage_error(tmp_path: Path) -> None:
    (tmp_path / "file").touch()

    with pytest.raises(UsageError, match="a site cannot be written here"):
        write_starter(tmp_path / "file" / "house")
