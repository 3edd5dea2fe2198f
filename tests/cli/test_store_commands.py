"""`pattress store`: check, backup, compact, export."""

import json
import sqlite3
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.store.store import Store
from unit.store.builders import files_in
from unit.store.filled import fill_with_everything


@pytest.fixture
async def folder(tmp_path: Path) -> Path:
    await pattress_command("init", str(tmp_path / "house"))
    await fill_with_everything(tmp_path / "house" / "pattress.db")
    return tmp_path / "house"


def damage(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[8192:8392] = b"\xa5" * 200
    path.write_bytes(content)


async def test_a_sound_database_is_told_with_what_is_in_it(folder: Path) -> None:
    text = await pattress_command("store", "check", "--site", str(folder))
    document = (await pattress_command("store", "check", "--site", str(folder), "--json")).document

    assert text.status == 0
    assert text.out.endswith("It is sound.\n")
    assert f"SQLite {sqlite3.sqlite_version}" in text.out
    assert (document["is_sound"], document["problems"], document["database_schema"]) == (True, [], 5)
    assert document["size_bytes"] == (folder / "pattress.db").stat().st_size
    assert document["rows"]["sign_off"] == 1


async def test_a_damaged_one_has_exit_status_2_and_says_what_is_wrong(folder: Path) -> None:
    damage(folder / "pattress.db")

    text = await pattress_command("store", "check", "--site", str(folder))
    ended = await pattress_command("store", "check", "--site", str(folder), "--json")

    assert (text.status, ended.status) == (2, 2)
    assert "It is DAMAGED:" in text.out
    assert ended.document["is_sound"] is False
    assert ended.document["problems"]


async def test_a_backup_is_made_once_and_never_over_anything(folder: Path, tmp_path: Path) -> None:
    words = ("store", "backup", str(tmp_path / "copy.db"), "--site", str(folder))

    first = await pattress_command(*words)
    content = (tmp_path / "copy.db").read_bytes()
    second = await pattress_command(*words)

    assert (first.status, first.out) == (0, "")
    assert "verified" in first.err
    assert second.status == 2
    assert "nothing is overwritten" in second.err
    assert (tmp_path / "copy.db").read_bytes() == content


async def test_compacting_makes_it_smaller(folder: Path) -> None:
    async with Store.open(folder / "pattress.db") as store:
        for statement in ("CREATE TABLE filler AS SELECT zeroblob(100000) AS octets", "DROP TABLE filler"):
            await store._connection.write(lambda database, statement=statement: database.execute(statement))
    before = (folder / "pattress.db").stat().st_size

    ended = await pattress_command("store", "compact", "--site", str(folder))

    assert ended.status == 0
    assert "readings were thinned out; the database has" in ended.err
    assert (folder / "pattress.db").stat().st_size <= before - 90_000


async def test_an_export_goes_to_a_file_or_to_stdout(folder: Path, tmp_path: Path) -> None:
    to_stdout = await pattress_command("store", "export", "-", "--site", str(folder))
    to_file = await pattress_command("store", "export", str(tmp_path / "house.jsonl"), "--site", str(folder))

    printed = to_stdout.out.splitlines()[1:]  # the first line has the time of the export
    written = (tmp_path / "house.jsonl").read_text("ascii").splitlines()
    assert (to_stdout.status, to_file.status, to_stdout.err, to_file.out) == (0, 0, "", "")
    assert written[1:] == printed
    assert json.loads(written[-1]) == {"type": "end", "rows": len(written) - 2}
    assert f"{len(written) - 2} rows" in to_file.err


async def test_an_export_never_overwrites(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "house.jsonl").write_text("mine")

    ended = await pattress_command("store", "export", str(tmp_path / "house.jsonl"), "--site", str(folder))

    assert ended.status == 2
    assert (tmp_path / "house.jsonl").read_text() == "mine"


@pytest.mark.parametrize("words", [["check"], ["backup", "copy.db"], ["compact"], ["export", "-"]])
async def test_where_there_is_no_database_that_is_said_and_none_is_made(words: list[str], tmp_path: Path) -> None:
    await pattress_command("init", str(tmp_path))

    ended = await pattress_command("store", *words, "--site", str(tmp_path))

    assert ended.status == 2
    assert "there is no database yet" in ended.err
    assert not any(".db" in name for name in files_in(tmp_path))


@pytest.mark.parametrize("command", ["check", "backup", "compact", "export"])
async def test_each_explains_itself_with_an_example(command: str) -> None:
    ended = await pattress_command("store", command, "--help")

    assert ended.status == 0
    assert f"Example: pattress store {command}" in ended.out
