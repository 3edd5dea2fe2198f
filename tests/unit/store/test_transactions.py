"""A transaction is kept whole or not at all."""

from pathlib import Path

import pytest

from pattress.store.transactions import write_transaction
from unit.store.builders import ask, opened


def test_an_error_undoes_everything_even_what_the_library_inserted(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    with opened(path) as database:

        def fail_after_two_rows() -> None:
            with write_transaction(database):
                database.table("word").insert({"text": "hall"})
                database.execute("INSERT INTO word (text) VALUES ('attic')")
                raise KeyError

        with pytest.raises(KeyError):
            fail_after_two_rows()

        assert not database.conn.in_transaction
    assert ask(path, "SELECT count(*) FROM word") == [(0,)]


def test_nothing_is_kept_before_the_end_of_the_block(tmp_path: Path) -> None:
    path = tmp_path / "house.db"
    with opened(path) as database:
        with write_transaction(database):
            database.table("word").insert({"text": "hall"})
            within = ask(path, "SELECT count(*) FROM word")

        assert (within, ask(path, "SELECT count(*) FROM word")) == ([(0,)], [(1,)])
