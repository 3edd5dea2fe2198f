"""Looking through a database finds what is wrong with it, and never changes it."""

import sqlite3
from pathlib import Path

import pytest

from pattress.model.errors import StoreError
from pattress.store.examine import examine
from pattress.store.migrations import MIGRATIONS, newest_number
from unit.store.builders import ask, row_counts
from unit.store.filled import fill_with_everything

TABLES = (
    *("reading_day", "sign_off", "placement", "span", "former_id"),
    *("encounter", "hearing", "company", "told", "template", "place"),
    *("close_in", "close_in_step", "close_in_samples"),
)


@pytest.fixture
async def path(tmp_path: Path) -> Path:
    await fill_with_everything(tmp_path / "house.db")
    return tmp_path / "house.db"


def damage(path: Path, table: str) -> None:
    """Overwrite the beginning of a table's first page."""
    page = int(str(ask(path, f"SELECT rootpage FROM sqlite_schema WHERE name = '{table}'")[0][0]))
    content = bytearray(path.read_bytes())
    content[(page - 1) * 4096 : (page - 1) * 4096 + 200] = b"\xa5" * 200
    path.write_bytes(content)


def test_a_sound_database_is_told_with_what_is_in_it(path: Path) -> None:
    content = path.read_bytes()

    found = examine(path)

    assert found.is_sound
    assert found.problems == ()
    assert (found.schema, found.newest_schema) == (newest_number(MIGRATIONS),) * 2
    assert found.size_bytes == len(content)
    ours = {table: count for table, count in row_counts(path).items() if not table.startswith("sqlite_")}
    assert found.rows == ours
    assert min(found.rows[table] for table in TABLES) > 0
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    "table",
    [
        "reading",
        "span",
        "word",
        "device",
        "encounter",
        "told",
        "close_in",
        "close_in_step",
        "close_in_samples",
        "sqlite_sequence",
    ],
)
def test_a_damaged_page_is_found(path: Path, table: str) -> None:
    damage(path, table)
    content = path.read_bytes()

    found = examine(path)

    assert not found.is_sound
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("statement", "problem"),
    [
        ("DELETE FROM run WHERE key = 3", "refers to a row of run that is not there"),
        (
            "UPDATE reading_day SET packed = x'789c03' WHERE key = (SELECT min(key) FROM reading_day)",
            "of reading_day cannot be unpacked",
        ),
        ("UPDATE reading_day SET layout = (SELECT layout FROM sign_off)", "cannot be unpacked"),
        ("UPDATE close_in_samples SET numbers = x'789c03'", "of close_in_samples cannot be unpacked"),
        ("UPDATE close_in_samples SET others = x'78'", "of close_in_samples cannot be unpacked"),
        ("UPDATE close_in_samples SET count = count + 1", "samples and says 121"),
        (
            "UPDATE close_in_step SET facts = '[]' WHERE number = 2",
            "a row of close_in_step, of check 1, cannot be read",
        ),
        ("UPDATE close_in_step SET facts = '{' WHERE number = 2", "a row of close_in_step, of check 1, cannot be read"),
        (
            "PRAGMA ignore_check_constraints = 1; UPDATE close_in SET ended_at = NULL",
            "1 rows of close_in contradict themselves",
        ),
        ("UPDATE close_in SET planned = '7'", "what was planned for check 1 cannot be read"),
        ("DELETE FROM close_in", "a row of close_in_step refers to a row of close_in"),
        ("DELETE FROM word WHERE text = 'n00001.example'", "a row of encounter refers to a row of word"),
        (
            "PRAGMA ignore_check_constraints = 1; UPDATE encounter SET first_at = last_at + 1",
            "rows of encounter contradict themselves",
        ),
        (
            "UPDATE layout SET names = '[1]' WHERE key = (SELECT max(sources) FROM encounter)",
            "which encounters name as their sources, cannot be read",
        ),
    ],
)
def test_what_contradicts_itself_is_found(path: Path, statement: str, problem: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.executescript(statement)
    connection.close()

    found = examine(path)

    assert any(problem in one for one in found.problems), found.problems


def test_a_database_of_another_schema_is_looked_through_all_the_same(path: Path) -> None:
    ask(path, "PRAGMA user_version = 99")

    found = examine(path)

    assert (found.is_sound, found.schema) == (True, 99)


def test_what_is_no_database_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "house.db").write_bytes(b"name = 'Larkspur Mill'\n" * 100)

    with pytest.raises(StoreError, match="not a database"):
        examine(tmp_path / "house.db")
    with pytest.raises(StoreError, match="no database yet"):
        examine(tmp_path / "nowhere.db")
