"""The audit as CSV."""

import csv
import io

import pytest

from pattress.model.finding import Finding
from pattress.model.vocabulary import Value
from pattress.report.csv_table import COLUMNS
from unit.report.examples import BROKEN, DRIFT, FINDINGS, HALL, SIGNAL, WAIVED, hostile_result, result, whole


def rows(*findings: Finding) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(whole(result(findings), "csv"), newline=""), strict=True))


def cell(value: Value) -> str:
    return rows(Finding(SIGNAL, HALL, "net.ssid", "broken", "x", value))[0]["value"]


def test_every_finding_is_a_row_under_one_header() -> None:
    read = rows(*FINDINGS)

    assert [row["outcome"] for row in read] == ["broken", "unverified", "waived", "met"]
    assert tuple(read[0]) == COLUMNS
    assert (read[0]["value"], read[0]["expected"], read[0]["sentence"]) == ("false", "true", BROKEN.sentence)
    assert (read[2]["value"], read[2]["waived_until"], read[2]["waived_by"]) == ("-79.0", "2027-01-01", "A. Keeper")


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("  =1+1", "'  =1+1"),
        ("＝1+1", "'＝1+1"),
        ("\t=1+1", "<U+0009>=1+1"),
        ("\r=1+1", "<U+000D>=1+1"),
        ("plain", "plain"),
        ("", ""),
        (" ", " "),
        (-79, "-79"),
        (-79.5, "-79.5"),
        (True, "true"),
    ],
)
def test_text_that_a_spreadsheet_would_run_is_marked_as_text(value: Value, shown: str) -> None:
    """OWASP, "CSV Injection": the signs = + - @, tab and carriage return, and their full-width forms."""
    assert cell(value) == shown


def test_no_cell_of_a_hostile_house_starts_a_formula() -> None:
    text = whole(hostile_result(), "csv")

    for row in csv.reader(io.StringIO(text, newline=""), strict=True):
        assert len(row) == len(COLUMNS)
        assert not [one for one in row if one[:1] in tuple("=+@\t\r")]
        assert not [one for one in row if one[:1] == "-" and not one[1:].replace(".", "").isdigit()]


def test_a_change_says_since_when_where_that_is_known() -> None:
    assert rows(DRIFT)[0]["since"] == ""
    assert rows(WAIVED)[0]["since"] == ""
