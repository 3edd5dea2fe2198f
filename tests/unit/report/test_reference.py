"""The reference page and the list of settings."""

from pathlib import Path

from pattress.model.vocabulary import definitions
from pattress.report.reference import settings_page, settings_text
from pattress.report.text import Style

PAGE = Path(__file__).parents[3] / "docs" / "settings.md"


def test_the_reference_page_is_the_vocabulary() -> None:
    assert PAGE.read_text(encoding="utf-8") == settings_page(), "run `make docs`"


def test_the_list_holds_every_setting_once() -> None:
    first_words = [line[2:].split(" ")[0] for line in settings_text(definitions(), Style(width=200)).splitlines()]

    for definition in definitions():
        assert first_words.count(definition.name) == 1


def test_where_the_terminal_is_narrow_each_name_has_a_line_of_its_own() -> None:
    narrow, wide = (settings_text(definitions(), Style(width=width)) for width in (40, 200))

    assert max(map(len, narrow.splitlines())) <= 40
    assert [line for line in narrow.splitlines() if line[:1] == "~"][1:2] == ["~ mqtt.connected"]
    assert len(wide.splitlines()) == len([*definitions()]) + 2
    assert sorted(narrow.replace(":", "").split()) == sorted(wide.replace(":", "").split())
