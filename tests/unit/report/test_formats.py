"""The formats by their names."""

import json

import pytest

from pattress.report.formats import FORMATS, Format, written
from unit.report.examples import hostile_result, result


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_tells_the_site_and_is_the_same_each_time(format: Format) -> None:
    text = written(result(), format)

    assert "Larkspur Mill" in text
    assert written(result(), format) == text
    assert text.endswith("\n")


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_of_a_hostile_house_is_utf_8_without_a_control_or_direction_character(format: Format) -> None:
    text = written(hostile_result(), format)

    assert not {"\x00", "\x1b", "\u202e", "\u2066", "\ufffe", "\ud800"} & set(text)
    assert text.encode("utf-8")


def test_json_is_the_published_document() -> None:
    assert json.loads(written(result(), "json"))["schema"] == "pattress.audit/1"
