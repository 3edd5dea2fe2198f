"""Reports of an audit into files, and its summary."""

import os
import stat
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree as Xml

import pytest

from cli.running import pattress_command
from pattress.cli.reports import Wanted, unwritten, wanted_reports, write_reports
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site
from pattress.model.errors import UsageError
from unit.report.examples import result


@pytest.fixture
async def folder(tmp_path: Path) -> AsyncIterator[str]:
    async with EmulatedHouse(faults=["cloud-left-on"], delay_s=(0.0, 0.02), wait_s=60) as house:
        yield str(write_site(house, tmp_path, today=datetime.now(UTC).date()))


def test_a_report_is_a_format_and_a_file() -> None:
    assert wanted_reports(["html=a.html", "metrics=/x/b=c.prom", "csv=-"]) == [
        Wanted(format="html", target="a.html"),
        Wanted(format="metrics", target="/x/b=c.prom"),
        Wanted(format="csv", target="-"),
    ]


def test_a_home_folder_is_found_though_the_shell_leaves_it_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", "/home/keeper")

    assert wanted_reports(["html=~/a.html"])[0].target == "/home/keeper/a.html"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["htm=a"],
            "there is no report format 'htm'. Did you mean html? Use FORMAT=FILE with one of: html, junit, csv",
        ),
        (["html"], "'html' names no file. Write for example html=report.html"),
        (["html="], "'html=' names no file"),
        (["report.html"], "there is no report format 'report.html'"),
        (["html=a", "csv=./a"], "two reports go to "),
        (["html=-", "csv=-"], "two reports go to -"),
    ],
)
def test_what_cannot_be_meant_is_said_before_any_work(words: list[str], says: str) -> None:
    with pytest.raises(UsageError) as caught:
        wanted_reports(words)

    assert says in str(caught.value)


def test_a_report_takes_the_place_of_the_old_one_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "report.csv"
    target.write_text("old", encoding="utf-8")

    failures = write_reports(result(), [Wanted(format="csv", target=str(target))])

    assert failures == []
    assert target.read_bytes().startswith(b"site,run,")
    assert b"\r\n" in target.read_bytes(), "the line ends of the format are kept"
    assert os.listdir(tmp_path) == ["report.csv"]


def test_a_report_may_be_read_by_others_as_the_umask_says(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_reports(result(), [Wanted(format="metrics", target=str(tmp_path / "house.prom"))])
    finally:
        os.umask(before)

    assert stat.S_IMODE((tmp_path / "house.prom").stat().st_mode) == 0o644


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.html").write_text("old", encoding="utf-8")
    (tmp_path / "link.html").symlink_to("real.html")

    write_reports(result(), [Wanted(format="html", target=str(tmp_path / "link.html"))])

    assert (tmp_path / "link.html").is_symlink()
    assert (tmp_path / "real.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_what_cannot_be_written_is_named_and_does_not_stop_the_others(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    targets = [tmp_path / "missing" / "a.html", tmp_path / "folder", tmp_path / "b.json"]
    formats = ("html", "csv", "json")

    failures = write_reports(
        result(), [Wanted(format=format, target=str(target)) for format, target in zip(formats, targets, strict=True)]
    )

    assert [failure.split(" ")[0] for failure in failures] == ["html", "csv"]
    assert "No such file or directory" in failures[0]
    assert "Is a directory" in failures[1]
    assert (tmp_path / "b.json").exists()
    assert "The audit itself is kept." in str(unwritten(failures))


def test_a_write_that_fails_half_way_leaves_the_old_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "report.html"
    target.write_text("old", encoding="utf-8")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    failures = write_reports(result(), [Wanted(format="html", target=str(target))])

    assert "No space left on device" in failures[0]
    assert target.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["report.html"]


async def test_an_audit_writes_every_report_beside_its_text(folder: str, tmp_path: Path) -> None:
    reports = {name: tmp_path / f"report.{name}" for name in ("html", "junit", "csv", "sarif", "metrics", "json")}
    words = [word for name, path in reports.items() for word in ("--report", f"{name}={path}")]

    ended = await pattress_command("audit", "--site", folder, "--listen", "2", *words)

    assert ended.status == 1
    assert "BROKEN: 1" in ended.out
    assert "Broken: 1" in reports["html"].read_text(encoding="utf-8")
    assert Xml.parse(reports["junit"]).getroot().get("failures") == "1"
    assert reports["csv"].read_text(encoding="utf-8").count(",broken,") == 1
    assert '"baselineState": "new"' in reports["sarif"].read_text(encoding="utf-8")
    metrics = reports["metrics"].read_text(encoding="utf-8")
    assert 'pattress_findings{site="Larkspur Mill",outcome="broken",severity="danger"} 1' in metrics
    assert 'point="kitchen-worktop"' in metrics
    assert '"schema": "pattress.audit/1"' in reports["json"].read_text(encoding="utf-8")


async def test_the_second_audit_knows_what_the_first_one_found(folder: str) -> None:
    await pattress_command("audit", "--site", folder, "--listen", "2")

    ended = await pattress_command("audit", "--site", folder, "--listen", "2", "--report", "sarif=-")

    assert ended.status == 1
    assert '"baselineState": "unchanged"' in ended.out
    assert '"baselineState": "new"' not in ended.out
    assert ended.out.startswith("{"), "nothing else on stdout"


async def test_the_summary_is_one_line_with_site_and_run(folder: str) -> None:
    ended = await pattress_command("audit", "--site", folder, "--listen", "2", "--summary")

    assert ended.status == 1
    assert ended.out.startswith("Larkspur Mill: audit 1: 1 broken, 0 could not be checked, ")
    assert ended.out.count("\n") == 1


async def test_a_report_that_cannot_be_written_loses_neither_the_text_nor_the_audit(folder: str) -> None:
    ended = await pattress_command("audit", "--site", folder, "--listen", "2", "--report", "html=/proc/no/report.html")
    devices = await pattress_command("devices", "--site", folder, "--json")

    assert ended.status == 2
    assert "BROKEN: 1" in ended.out
    assert "could not write the html report into /proc/no/report.html (No such file or directory)" in ended.err
    assert [one for one in devices.document["devices"] if one["last_outcome"] == "read"]


@pytest.mark.parametrize(
    "words",
    [
        ("--report", "htm=a"),
        ("--json", "--summary"),
        ("--json", "--report", "csv=-"),
        ("--summary", "--report", "csv=-"),
    ],
)
async def test_wrong_words_are_refused_before_the_site_is_opened(words: tuple[str, ...], tmp_path: Path) -> None:
    ended = await pattress_command("audit", "--site", str(tmp_path), *words)

    assert ended.status == 2
    assert ended.err.startswith("pattress audit")
    assert ended.out == ""
