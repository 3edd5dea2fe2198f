"""Only what was signed off, whole and with nothing broken or open, is in order; and the same record has the same id."""

from dataclasses import replace

import pytest

from pattress.report.certificate_record import CertificateRecord, Verdict, verdict_sentence
from unit.report.certificates import (
    AGREED,
    GIVEN_UP,
    IN_ORDER,
    NOT_IN_ORDER,
    STEPS,
    UNFINISHED,
    WITH_GAPS,
    check,
    hostile_record,
    record,
    step,
)


@pytest.mark.parametrize(
    ("of", "verdict", "sentence"),
    [
        (IN_ORDER, "in-order", "All 14 steps are met."),
        (WITH_GAPS, "with-gaps", "12 of 14 steps met, 1 could not be checked, 1 left out."),
        (NOT_IN_ORDER, "not-in-order", "13 of 14 steps met, 1 broken."),
        (UNFINISHED, "unfinished", "9 of 14 steps met, 1 broken, 4 not done."),
        (GIVEN_UP, "given-up", "13 of 14 steps met, 1 not done."),
        (record(check(without=("radio",))), "with-gaps", "13 of 14 steps met, 1 not done."),
        (record(agreed=None), "with-gaps", "14 of 14 steps met. The settings were not kept."),
        (
            record(replace(check(), device=None)),
            "not-in-order",
            "14 of 14 steps met. No module is known to be there.",
        ),
        (record(check(without=tuple(STEPS))), "with-gaps", "0 of 14 steps met, 14 not done."),
        (record(replace(check(), ended_at=None, is_signed_off=False)), "unfinished", "14 of 14 steps met."),
    ],
)
def test_how_a_check_stands_is_said_with_everything_that_is_not_met(
    of: CertificateRecord, verdict: Verdict, sentence: str
) -> None:
    assert (of.verdict, verdict_sentence(of)) == (verdict, sentence)
    assert of.is_signed == (verdict in ("in-order", "with-gaps"))


def test_steps_that_nobody_did_count_though_it_was_not_kept_which_there_were() -> None:
    of = record(replace(check(without=("heat", "outside")), planned={}))

    assert list(of.not_done) == ["heat", "outside"]
    assert of.verdict == "with-gaps"


def test_the_plan_that_was_kept_comes_before_that_of_today() -> None:
    today = {"site": "Larkspur Mill", "room": "Cellar"}

    then, now = record(planned=today), record(replace(check(), planned={}), planned=today)

    assert (then.plan["room"], then.is_plan_of_then) == ("Hall", True)
    assert (now.plan["room"], now.is_plan_of_then) == ("Cellar", False)


def test_the_id_is_that_of_the_record_and_not_of_what_may_become_better_known() -> None:
    same = record(replace(check(), device="name:Quill-1"), page_url=None, newer=check(), planned={"room": "Cellar"})
    samples_gone = record(
        replace(check(), results=tuple(replace(one, samples=()) for one in check().results)), agreed=AGREED
    )
    others = [
        record(replace(check(), who="B. Fitter")),
        record(check(step("heat", sentence="it will settle at 62 °C", minute=20))),
        record(check(step("input.1", number=2, minute=8))),
        record(replace(check(), is_signed_off=False)),
        record(agreed=replace(AGREED, values={"mqtt.port": 1883})),
        record(agreed=None),
    ]

    assert IN_ORDER.digest == same.digest == samples_gone.digest
    assert len({IN_ORDER.digest, *(one.digest for one in others)}) == len(others) + 1
    assert IN_ORDER.short_id.startswith("3-")
    assert len(IN_ORDER.short_id) == 8


def test_the_code_leads_to_the_page_of_the_point_or_holds_its_name() -> None:
    spaced = replace(check(), point="müll-raum")

    assert IN_ORDER.code_text == "http://pattress.home.arpa/points/hall-lights"
    assert record(spaced).code_text == "http://pattress.home.arpa/points/m%C3%BCll-raum"
    assert record(page_url=None).code_text == "pattress:Larkspur%20Mill/hall-lights"


def test_a_code_holds_no_text_of_a_stranger_as_it_is() -> None:
    of = replace(hostile_record(), page_url=None)

    assert of.code_text.isascii()
    assert not set(of.code_text) & set("<>\"'\x1b \n")
    assert len(of.code_text) < 1_200
