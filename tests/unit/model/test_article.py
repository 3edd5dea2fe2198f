"""The article before a word."""

import pytest

from pattress.model.article import with_article


@pytest.mark.parametrize(
    ("noun", "said"),
    [
        ("motor load", "a motor load"),
        ("incandescent load", "an incandescent load"),
        ("electronic load", "an electronic load"),
        ("led-lamp load", "an led-lamp load"),
        ("IP address", "an IP address"),
        ("hardware address", "a hardware address"),
        ("lead", "a lead"),
    ],
)
def test_the_article_goes_by_the_sound(noun: str, said: str) -> None:
    assert with_article(noun) == said
