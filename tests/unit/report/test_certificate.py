"""The page of a close-in check, as text. What a browser makes of it is tested with one."""

import itertools
import re
from dataclasses import replace

import pytest

from pattress.policy.builtin import CAUTION
from pattress.report.certificate import NO_SUBSTITUTE, certificate_html
from pattress.report.certificate_document import certificate_document
from pattress.report.certificate_record import CertificateRecord
from unit.report.certificates import (
    AGREED,
    BEGAN_AT,
    GIVEN_UP,
    IN_ORDER,
    NOT_IN_ORDER,
    UNFINISHED,
    VALUES,
    WITH_GAPS,
    check,
    hostile_record,
    record,
    step,
)
from unit.report.test_html import Page

ALL = (IN_ORDER, WITH_GAPS, NOT_IN_ORDER, UNFINISHED, GIVEN_UP, hostile_record())


def page(of: CertificateRecord) -> Page:
    parser = Page()
    parser.feed(certificate_html(of))
    return parser


def test_it_says_where_what_who_and_when() -> None:
    text = page(IN_ORDER).text

    for fact in (
        "Larkspur Mill, Hall", "hall-lights", f"Close-in certificate {IN_ORDER.short_id}", "A. Fitter",
        "2026-11-25 08:10 UTC", "2026-11-25 08:41 UTC", "Ouseltide", "Pair", "02:00:5e:00:53:01", "2.1.0",
        IN_ORDER.digest,
    ):  # fmt: skip
        assert fact.replace(" ", "") in text.replace(" ", ""), fact


def test_each_step_has_its_outcome_sentence_and_numbers() -> None:
    text = page(IN_ORDER).text

    assert "output.1 feeds six downlights output.1 Met 52.4 W on, planned 54 W; 0.2 W off." in text
    assert "on 52.4 W, off 0.2 W, planned 54 W. 08:24:00 to 08:25:12" in text
    assert text.count(" Met ") == 14


def test_what_was_left_out_or_could_not_be_checked_is_told_first_and_with_its_reason() -> None:
    text = page(WITH_GAPS).text

    assert text.index("This check does not show: It can be heard with the plate on (left out); It was silent") < (
        text.index("What was checked")
    )
    assert "Left out The plate is not there yet." in text
    assert "Could not be checked The site names no source that would tell: see [watch]." in text
    assert "third try, 08:18:00" in text


def test_a_step_that_was_never_done_is_listed_as_that() -> None:
    text = page(UNFINISHED).text

    assert "It stays cool enough under load heat Not done There is no result of this step." in text


@pytest.mark.parametrize(
    ("of", "words"),
    [
        (NOT_IN_ORDER, "NOT IN ORDER"),
        (UNFINISHED, "UNFINISHED: not signed off"),
        (GIVEN_UP, "GIVEN UP: not signed off"),
    ],
)
def test_what_was_not_signed_off_in_order_never_looks_like_a_pass(of: CertificateRecord, words: str) -> None:
    html, seen = certificate_html(of), page(of)

    assert re.search(f'class="stamp broken"><svg class="mark".*?<strong>{words}</strong>', html)
    assert "no certificate" in seen.text
    assert "Close-in certificate" not in seen.text
    assert "stamp met" not in html.partition("</style>")[2]
    assert "In order" not in seen.text


def test_a_pass_with_gaps_does_not_look_like_one_without() -> None:
    body = certificate_html(WITH_GAPS).partition("</style>")[2]

    assert 'class="stamp unverified"' in body
    assert "Signed off with gaps" in body
    assert 'class="stamp met"' not in body


def test_a_newer_check_is_pointed_out() -> None:
    newer = replace(check(), id=4, ended_at=None, is_signed_off=False)

    text = page(record(newer=newer)).text

    assert "There is a newer check of this point: 4, begun 2026-11-25 08:10 UTC, which is not finished." in text
    assert "newer check" not in page(IN_ORDER).text


def test_heat_is_drawn_where_it_was_watched() -> None:
    assert [one["class"] for one in page(IN_ORDER).all("svg") if one.get("class") == "chart"] == ["chart"]
    assert "settles at 61 °C (58 to 64)" in page(IN_ORDER).text
    assert "limit 95 °C" in page(IN_ORDER).text
    assert "chart" not in [one.get("class") for one in page(NOT_IN_ORDER).all("svg")]


def test_every_setting_that_was_signed_off_is_there() -> None:
    text = page(IN_ORDER).text.replace(" ", "")

    for name, value in VALUES.items():
        shown = {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
        assert f"{name}{shown}".replace(" ", "") in text, name
    assert "They were not kept." in page(record(agreed=None)).text


def test_cautions_are_those_of_this_circuit_and_the_check_is_no_substitute() -> None:
    for of in ALL:
        assert CAUTION in page(of).text
        assert NO_SUBSTITUTE in page(of).text
    assert "It feeds something that moves" in page(IN_ORDER).text
    assert "It feeds a load that heats" not in page(IN_ORDER).text


def test_a_plan_that_was_not_kept_is_said_to_be_of_today() -> None:
    today = replace(check(), planned={})

    assert "From the site's files of today: it was not kept." in page(record(today, planned=check().planned)).text
    assert "From the site's files of today" not in page(IN_ORDER).text


def test_a_code_says_where_it_leads_or_that_it_leads_nowhere() -> None:
    nowhere = page(record(page_url=None)).text

    assert "A code that leads to http://pattress.home.arpa/points/hall-lights" in page(IN_ORDER).text
    assert "A code that holds no address, only pattress:Larkspur%20Mill/hall-lights" in nowhere
    assert "The code holds no address, only " in nowhere


@pytest.mark.parametrize("of", ALL, ids=lambda of: of.verdict)
def test_nothing_is_loaded_and_no_script_can_run(of: CertificateRecord) -> None:
    html, seen = certificate_html(of), page(of)

    assert not {name for name, _ in seen.elements} & {"script", "img", "link", "iframe", "object", "form", "base", "a"}
    attributes = {name for _, names in seen.elements for name in names}
    assert not [name for name in attributes if name.startswith("on") or name in ("src", "style", "srcset")]
    assert "url(" not in html
    assert "@import" not in html
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\ud800]", html)
    [policy] = [one["content"] for one in seen.all("meta") if one.get("http-equiv")]
    assert policy is not None
    assert policy.startswith("default-src 'none'; style-src 'sha256-")


@pytest.mark.parametrize("of", ALL, ids=lambda of: of.verdict)
def test_headings_go_down_one_step_at_a_time_and_ids_are_there_once(of: CertificateRecord) -> None:
    elements = page(of).elements

    levels = [int(name[1]) for name, _ in elements if re.fullmatch("h[1-6]", name)]
    ids = [attributes["id"] for _, attributes in elements if "id" in attributes]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert len(ids) == len(set(ids))


def test_the_same_record_gives_the_same_page_and_another_one_another() -> None:
    assert certificate_html(record()) == certificate_html(record(check()))
    assert certificate_html(record(check(step("heat", "unverified", "x", minute=20)))) != certificate_html(IN_ORDER)


@pytest.mark.parametrize("of", ALL, ids=lambda of: of.verdict)
def test_the_document_says_the_same(of: CertificateRecord) -> None:
    document = certificate_document(of)

    assert (document["verdict"], document["record"], document["sha256"]) == (of.verdict, of.short_id, of.digest)
    assert len(document["steps"]) == len(of.check.results)


def test_the_document_has_every_number_and_how_many_samples_there_are() -> None:
    document = certificate_document(IN_ORDER)

    [heat] = [one for one in document["steps"] if one["step"] == "heat"]
    assert heat["facts"] == {"limit_c": 95.0, "settles_c": 61.0, "low_c": 58.0, "high_c": 64.0, "load_w": 82.2}
    assert heat["sample_count"] == 120
    assert document["settings"] == AGREED.values
    assert document["began_at"] == BEGAN_AT.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def test_who_signed_off_what_another_began_is_named() -> None:
    by_another = replace(IN_ORDER, agreed=replace(AGREED, who="B. Foreman"))

    assert "Signed off by" in page(by_another).text
    assert "B. Foreman" in page(by_another).text
    assert "Signed off by" not in page(IN_ORDER).text
