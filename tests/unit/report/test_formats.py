"""The formats by their names."""

import json

import pytest

from pattress.report.formats import FORMATS, Format, written
from unit.report.examples import BROKEN, hostile_result, result, whole


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_tells_the_site_and_is_the_same_each_time(format: Format) -> None:
    text = whole(result(), format)

    assert "Larkspur Mill" in text
    assert whole(result(), format) == text
    assert text.endswith("\n")


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_of_a_hostile_house_is_utf_8_without_a_control_or_direction_character(format: Format) -> None:
    text = whole(hostile_result(), format)

    assert not {"\x00", "\x1b", "\u202e", "\u2066", "\ufffe", "\ud800"} & set(text)
    assert text.encode("utf-8")


def test_json_is_the_published_document() -> None:
    assert json.loads(whole(result(), "json"))["schema"] == "pattress.audit/1"


def test_json_tells_what_a_file_overrode_of_the_policy() -> None:
    document = json.loads(whole(result(), "json"))

    assert document["policy"]["overridden"] == [
        {
            "rule": "signal",
            "file": "house.toml",
            "fields": ["severity", "require"],
            "is_dropped": False,
            "reason": "thick walls",
        },
        {
            "rule": "over-temperature",
            "file": "house.toml",
            "fields": [],
            "is_dropped": True,
            "reason": "no relays here",
        },
    ]


def test_json_comes_in_pieces_and_makes_no_finding_before_it_is_asked_for() -> None:
    many = result([BROKEN] * 2_000)

    pieces = list(written(many, "json"))

    assert max(len(piece) for piece in pieces) < 256_000
    assert len(json.loads("".join(pieces))["findings"]) == 2_000
    assert json.loads(whole(result([]), "json"))["findings"] == []
