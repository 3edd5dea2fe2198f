"""A text has one number, and a number that was rolled back is not remembered."""

from pathlib import Path

from pattress.store.transactions import write_transaction
from pattress.store.words import Words
from unit.store.builders import opened


def test_the_same_text_has_the_same_number_in_every_transaction(tmp_path: Path) -> None:
    with opened(tmp_path / "house.db") as database:
        with write_transaction(database):
            first = [Words(database).key(text) for text in ("hall", "attic", "hall")]

        with write_transaction(database):
            second = [Words(database).key(text) for text in ("attic", "hall")]

        assert first == [first[0], second[0], second[1]]
        assert second[0] != second[1]


def test_no_text_has_no_number_and_an_empty_text_has_one(tmp_path: Path) -> None:
    with opened(tmp_path / "house.db") as database, write_transaction(database):
        words = Words(database)

        assert words.key_or_none(None) is None
        assert words.key_or_none("") is not None


def test_a_layout_is_its_names_in_their_order(tmp_path: Path) -> None:
    with opened(tmp_path / "house.db") as database, write_transaction(database):
        words = Words(database)

        keys = [words.layout_key(names) for names in (("a", "b"), ("b", "a"), ("a", "b"), ("a,b",))]

        assert keys[0] == keys[2]
        assert len(set(keys)) == 3
