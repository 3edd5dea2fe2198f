"""A backup is whole, verified, and never in anything's place."""

import sqlite3
import stat
from pathlib import Path

import pytest

from pattress.model.errors import StoreError
from pattress.store import backup
from pattress.store.backup import back_up
from pattress.store.examine import examine
from pattress.store.store import Store
from unit.store.builders import HALL, ask, files_in, minutes, snapshot
from unit.store.disks import fill
from unit.store.filled import fill_with_everything
from unit.store.test_examine import damage


@pytest.fixture
async def path(tmp_path: Path) -> Path:
    (tmp_path / "site").mkdir()
    await fill_with_everything(tmp_path / "site" / "house.db")
    return tmp_path / "site" / "house.db"


def dump(path: Path) -> list[str]:
    connection = sqlite3.connect(path)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


def test_a_backup_holds_everything_in_one_file(path: Path, tmp_path: Path) -> None:
    target = tmp_path / "copy.db"

    size_bytes = back_up(path, target)

    assert dump(target) == dump(path)
    assert examine(target).is_sound
    assert ask(target, "PRAGMA journal_mode") == [("delete",)]
    assert files_in(tmp_path) == ["copy.db", "site"]
    assert target.stat().st_size == size_bytes
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


async def test_what_is_only_in_the_log_is_in_the_backup_too(path: Path, tmp_path: Path) -> None:
    async with Store.open(path) as store:
        run = await store.begin_run(minutes(99_999), "digest")
        await store.keep_readings(run, [snapshot({"net.ssid": "only in the log"}, at=minutes(99_999))])

        back_up(path, tmp_path / "copy.db")

    async with Store.open(tmp_path / "copy.db", read_only=True) as copy:
        assert [one.value for one in await copy.history(HALL, "net.ssid")] == ["only in the log"]


async def test_a_backup_can_be_gone_on_with(path: Path, tmp_path: Path) -> None:
    back_up(path, tmp_path / "copy.db")

    async with Store.open(tmp_path / "copy.db") as store:
        run = await store.begin_run(minutes(99_999), "digest")
        await store.end_run(run, minutes(99_999), {})

    assert ask(tmp_path / "copy.db", "PRAGMA journal_mode") == [("wal",)]


@pytest.mark.parametrize("kind", ["file", "folder", "dangling link"])
def test_nothing_is_overwritten(path: Path, tmp_path: Path, kind: str) -> None:
    target = tmp_path / "copy.db"
    if kind == "file":
        target.write_bytes(b"mine")
    elif kind == "folder":
        target.mkdir()
    else:
        target.symlink_to(tmp_path / "nowhere")

    with pytest.raises(StoreError, match="nothing is overwritten"):
        back_up(path, target)

    assert files_in(tmp_path) == ["copy.db", "site"]
    assert not (tmp_path / "nowhere").exists()
    assert kind != "file" or target.read_bytes() == b"mine"


def test_a_damaged_database_leaves_no_backup(path: Path, tmp_path: Path) -> None:
    damage(path, "span")

    with pytest.raises(StoreError, match=r"not sound|damaged"):
        back_up(path, tmp_path / "copy.db")

    assert files_in(tmp_path) == ["site"]


def test_a_copy_that_lacks_rows_is_found_out(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = backup._copied

    def lossy(source: sqlite3.Connection, part: Path) -> sqlite3.Connection:
        copy = real(source, part)
        copy.execute("DELETE FROM finding")
        return copy

    monkeypatch.setattr(backup, "_copied", lossy)

    with pytest.raises(StoreError, match="not as many rows"):
        back_up(path, tmp_path / "copy.db")

    assert files_in(tmp_path) == ["site"]


def test_a_full_disk_leaves_no_half_of_a_backup(path: Path, small_disk: Path) -> None:
    fill(small_disk, leaving_bytes=65_536)

    with pytest.raises(StoreError, match=r"disk is full|No space left") as raised:
        back_up(path, small_disk / "copy.db")

    assert str(small_disk) in raised.value.where
    assert files_in(small_disk) == ["ballast"]


def test_a_folder_that_is_not_there_is_said(path: Path, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be written"):
        back_up(path, tmp_path / "nowhere" / "copy.db")


def test_a_database_of_an_older_schema_can_be_backed_up_first(path: Path, tmp_path: Path) -> None:
    ask(path, "PRAGMA user_version = 1")

    back_up(path, tmp_path / "copy.db")

    assert ask(tmp_path / "copy.db", "PRAGMA user_version") == [(1,)]
