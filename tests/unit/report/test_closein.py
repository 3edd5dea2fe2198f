"""Close-in checks as a document: a step is in it as it is in a certificate."""

import json
from pathlib import Path

import jsonschema

import pattress.report
from pattress.report.certificate_document import certificate_document
from pattress.report.closein import check_text, close_in_document
from pattress.report.text import Style
from unit.report.certificates import IN_ORDER, UNFINISHED, WITH_GAPS

SCHEMA = Path(pattress.report.__file__).parent / "schemas" / "close-in-1.json"


def test_the_document_keeps_to_its_schema_and_says_of_steps_what_the_certificate_says() -> None:
    document = close_in_document([WITH_GAPS.check])

    jsonschema.Draft202012Validator(
        json.loads(SCHEMA.read_text(encoding="utf-8")), format_checker=jsonschema.FormatChecker()
    ).validate(document)
    [check] = document["checks"]
    assert check["steps"] == certificate_document(WITH_GAPS)["steps"]
    assert {one["try"] for one in check["steps"]} == {1, 3}


def test_the_lines_name_each_step_that_is_not_met_or_not_done() -> None:
    well, ill = (check_text([one.check], Style(width=120)).splitlines() for one in (IN_ORDER, UNFINISHED))

    assert well == ["hall-lights: signed off. 14 met, 0 broken, 0 could not be checked, 0 skipped (check 3)"]
    assert ill[0].startswith("hall-lights: NOT signed off: do not close the wall. 9 met, 1 broken, ")
    assert ill[1] == "  broken: output.2: the fan did not start: 0.1 W"
    assert ill[2:] == ["  not done: heat, power-cut, outside, sign-off"]


def test_the_lines_keep_to_the_width_of_the_terminal_and_break_between_words() -> None:
    narrow, wide = (check_text([UNFINISHED.check], Style(width=width)) for width in (60, 1000))

    assert max(map(len, narrow.splitlines())) <= 60 < max(map(len, wide.splitlines()))
    assert narrow.split() == wide.split()
