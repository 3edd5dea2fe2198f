"""Text from strangers made safe to show."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.report.visible import visible


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Küche 7 \\ Relais", "Küche 7 \\ Relais"),
        ("a\x1b[31mred", "a<U+001B>[31mred"),
        ("two\nlines\r", "two<U+000A>lines<U+000D>"),
        ("evil\u202egnp.exe", "evil<U+202E>gnp.exe"),
        ("\x9b31m", "<U+009B>31m"),
        ("zero\u200bwidth", "zero<U+200B>width"),
    ],
)
def test_hidden_characters_become_numbers(text: str, shown: str) -> None:
    assert visible(text) == shown


@given(st.text(st.characters(categories=["Cc", "Zl", "Zp", "Cs", "L", "Nd"])))
def test_no_control_character_is_left(text: str) -> None:
    assert not any(unicodedata.category(character) in ("Cc", "Zl", "Zp", "Cs") for character in visible(text))
