"""`pattress certificate` as a person runs it."""

import json
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.store.store import Store
from unit.closein.test_record import keep_check

SITE = """
name = "Larkspur Mill"
policy = "isolated-house"
[networks]
devices = ["192.0.2.0/24"]
"""
POINTS = """
[[point]]
name = "hall-lights"
room = "Hall"
kind = "ouseltide-pair"
mac = "02:00:5e:00:53:01"
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    folder = tmp_path / "house"
    folder.mkdir()
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    (folder / "points.toml").write_text(POINTS, encoding="utf-8")
    return folder


async def keep(house: Path, *, broken: str | None = None, is_signed_off: bool = True) -> int:
    async with Store.open(house / "pattress.db") as store:
        return await keep_check(store, broken=broken, is_signed_off=is_signed_off)


async def test_page_label_and_document_are_of_one_record(house: Path, tmp_path: Path) -> None:
    await keep(house)
    page, label = tmp_path / "page.html", tmp_path / "label.svg"

    ended = await pattress_command(
        "certificate", "hall-lights", "--site", str(house), "--out", str(page), "--label", str(label), "--json"
    )
    printed = await pattress_command("certificate", "hall-lights", "--site", str(house))

    document = ended.document
    assert (ended.status, document["verdict"]) == (0, "in-order")
    assert document["record"] in page.read_text(encoding="utf-8")
    assert document["record"] in label.read_text(encoding="utf-8")
    assert printed.out == page.read_text(encoding="utf-8")
    assert "page_url in site.toml" in ended.err
    assert document["code"] == "pattress:Larkspur%20Mill/hall-lights"


async def test_a_label_alone_prints_nothing_and_leads_to_the_page(house: Path, tmp_path: Path) -> None:
    await keep(house)
    (house / "site.toml").write_text(f'page_url = "http://pattress.home.arpa/"\n{SITE}', encoding="utf-8")

    ended = await pattress_command(
        "certificate", "hall-lights", "--site", str(house), "--label", str(tmp_path / "label.html")
    )
    document = (await pattress_command("certificate", "hall-lights", "--site", str(house), "--json")).document

    assert (ended.status, ended.out, ended.err) == (0, "", "")
    assert "@page { size: 40mm 20mm" in (tmp_path / "label.html").read_text(encoding="utf-8")
    assert (document["code"], document["code_leads_to_page"]) == ("http://pattress.home.arpa/points/hall-lights", True)


async def test_a_point_without_a_signed_off_check_is_an_error_and_its_check_a_page_that_says_so(house: Path) -> None:
    number = await keep(house, broken="heat", is_signed_off=False)

    refused = await pattress_command("certificate", "hall-lights", "--site", str(house))
    shown = await pattress_command("certificate", "hall-lights", "--check", str(number), "--site", str(house))

    assert (refused.status, refused.out) == (2, "")
    assert f"--check {number}" in refused.err
    assert shown.status == 1
    assert "UNFINISHED: not signed off" in shown.out
    assert "This is no certificate" in shown.err


async def test_words_that_cannot_be_followed_are_explained(house: Path, tmp_path: Path) -> None:
    nothing = await pattress_command("certificate", "hall-lights", "--site", str(house))
    await keep(house)
    label = await pattress_command("certificate", "hall-lights", "--site", str(house), "--label", "label.png")
    folder = await pattress_command(
        "certificate", "hall-lights", "--site", str(house), "--out", str(tmp_path / "nowhere" / "page.html")
    )

    assert (nothing.status, label.status, folder.status) == (2, 2, 2)
    assert "there is no database yet" in nothing.err
    assert "end in .svg or .html" in label.err
    assert "could not be written" in folder.err


async def test_the_document_is_plain_ascii(house: Path) -> None:
    await keep(house)

    ended = await pattress_command("certificate", "hall-lights", "--site", str(house), "--json")

    assert ended.out.isascii()
    assert json.loads(ended.out)["schema"] == "pattress.certificate/1"
