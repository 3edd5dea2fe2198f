"""A label has its true size, names the point whole, and never takes what is not in order for what is."""

import re
from dataclasses import replace
from xml.etree import ElementTree as Xml

import pytest

from pattress.report.certificate_record import CertificateRecord
from pattress.report.label import DOT_MM, MIN_DOTS, TEXT_WIDTH_MM, label_html, label_svg
from unit.report.certificates import (
    GIVEN_UP,
    IN_ORDER,
    NOT_IN_ORDER,
    UNFINISHED,
    WITH_GAPS,
    check,
    hostile_record,
    record,
)

SVG = "{http://www.w3.org/2000/svg}"


def texts(of: CertificateRecord) -> list[str]:
    return [one.text or "" for one in Xml.fromstring(label_svg(of)).iter(f"{SVG}text")]


def named(point: str) -> CertificateRecord:
    return record(replace(check(), point=point))


def test_it_says_the_point_the_day_and_the_id() -> None:
    assert texts(IN_ORDER) == ["hall-", "lights", "2026-11-25", IN_ORDER.short_id]


@pytest.mark.parametrize(
    ("of", "state"),
    [
        (WITH_GAPS, "WITH GAPS"),
        (NOT_IN_ORDER, "NOT IN ORDER"),
        (UNFINISHED, "UNFINISHED"),
        (GIVEN_UP, "NOT SIGNED"),
    ],
)
def test_what_is_not_in_order_says_so_in_white_on_black(of: CertificateRecord, state: str) -> None:
    drawn = Xml.fromstring(label_svg(of))

    [found] = [one for one in drawn.iter(f"{SVG}text") if one.text == state]
    assert found.get("fill") == "#fff"
    assert any(one.get("fill") == "#000" for one in drawn.iter(f"{SVG}rect"))


def test_it_is_40_by_20_millimetres_in_both_forms() -> None:
    drawn = Xml.fromstring(label_svg(IN_ORDER))

    assert (drawn.get("width"), drawn.get("height"), drawn.get("viewBox")) == ("40mm", "20mm", "0 0 40 20")
    assert "@page { size: 40mm 20mm; margin: 0; }" in label_html(IN_ORDER)


def test_modules_are_whole_dots_of_a_printer_with_300_to_the_inch() -> None:
    for of in (IN_ORDER, named("a"), named("x" * 64), record(page_url=None)):
        [scale] = re.findall(r"scale\(([0-9.]+)\)", label_svg(of))

        dots = float(scale) / DOT_MM
        assert dots == pytest.approx(round(dots), abs=1e-4)
        assert round(dots) >= MIN_DOTS


def test_the_code_stays_clear_of_the_text_and_on_the_label() -> None:
    for of in (IN_ORDER, named("a"), named("x" * 64)):
        [(x, y, scale)] = re.findall(r"translate\(([0-9.]+) ([0-9.]+)\) scale\(([0-9.]+)\)", label_svg(of))
        reach = max(int(one) for one in re.findall(r"M(\d+) ", label_svg(of))) + 1 + 4  # with the quiet zone

        assert float(x) + reach * float(scale) <= 19.6
        assert float(y) + reach * float(scale) <= 20


@pytest.mark.parametrize(
    "name", ["a", "hall-lights", "x" * 64, "first-floor-bathroom-ventilation-and-mirror-lights-left", "浴室" * 10]
)
def test_a_name_is_whole_and_within_its_room(name: str) -> None:
    *drawn, _, _ = Xml.fromstring(label_svg(named(name))).iter(f"{SVG}text")

    whole = "".join(one.text or "" for one in drawn)
    assert whole == name
    for one in drawn:
        columns = sum(1 if letter.isascii() else 2 for letter in one.text or "")
        assert columns * float(one.get("font-size", "0")) * 0.6 <= TEXT_WIDTH_MM


def test_an_address_that_is_too_long_for_so_small_a_code_is_refused() -> None:
    of = replace(named("浴室" * 32), page_url="http://pattress.home.arpa/" + "x" * 90)

    with pytest.raises(ValueError, match="too fine"):
        label_svg(of)


def test_hostile_text_stays_text() -> None:
    of = replace(hostile_record(), page_url=None)
    of = replace(of, check=replace(of.check, planned={"site": "x"}))

    svg, html = label_svg(of), label_html(of)

    assert {one.tag.removeprefix(SVG) for one in Xml.fromstring(svg).iter()} == {"svg", "title", "rect", "path", "text"}
    for one in (svg, html):
        assert "<script" not in one
        assert "<img" not in one
        assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\ud800]", one)


def test_the_same_record_gives_the_same_label() -> None:
    assert label_svg(IN_ORDER) == label_svg(record())
    assert label_html(IN_ORDER) == label_html(record())
