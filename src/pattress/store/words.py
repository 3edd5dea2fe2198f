"""Texts and layouts that come back row after row, kept once and named by a number.

What belongs here: giving a text its number. What does not: which texts are kept so.
"""

import json
from collections.abc import Sequence

from sqlite_utils import Database

from pattress.store.encoding import kept_text


class Words:
    """The numbers of texts, for one transaction: what is remembered longer could have been rolled back."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._words: dict[str, int] = {}
        self._layouts: dict[tuple[str, ...], int] = {}

    def key(self, text: str) -> int:
        """Return the number of a text, a new one where it is new."""
        number = self._words.get(text)
        if number is None:
            number = self._words[text] = self._number(
                "SELECT key FROM word WHERE text = ?", "INSERT INTO word (text) VALUES (?)", kept_text(text)
            )
        return number

    def key_if_known(self, text: str) -> int | None:
        """Return the number of a text, None where it was never kept."""
        row = self._database.execute("SELECT key FROM word WHERE text = ?", [kept_text(text)]).fetchone()
        return None if row is None else int(row[0])

    def key_or_none(self, text: str | None) -> int | None:
        """Return the number of a text, None where there is none."""
        return None if text is None else self.key(text)

    def layout_key(self, names: Sequence[str]) -> int:
        """Return the number of a layout, a new one where it is new."""
        layout = tuple(names)
        if layout not in self._layouts:
            text = json.dumps(layout, separators=(",", ":"))
            self._layouts[layout] = self._number(
                "SELECT key FROM layout WHERE names = ?", "INSERT INTO layout (names) VALUES (?)", text
            )
        return self._layouts[layout]

    def _number(self, look_up: str, insert: str, text: str) -> int:
        row = self._database.execute(look_up, [text]).fetchone()
        if row is not None:
            return int(row[0])
        number = self._database.execute(insert, [text]).lastrowid
        assert number is not None  # noqa: S101 - an INSERT that did not raise has a row
        return number
