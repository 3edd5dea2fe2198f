"""The reference page and the list of settings."""

from pathlib import Path

from pattress.model.vocabulary import definitions
from pattress.report.reference import settings_page, settings_text

PAGE = Path(__file__).parents[3] / "docs" / "settings.md"


def test_the_reference_page_is_the_vocabulary() -> None:
    assert PAGE.read_text(encoding="utf-8") == settings_page(), "run `make docs`"


def test_the_list_holds_every_setting_once() -> None:
    first_words = [line[2:].split(" ")[0] for line in settings_text(definitions()).splitlines()]

    for definition in definitions():
        assert first_words.count(definition.name) == 1
