"""Fitness for people and for machines."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import jsonschema
import pytest

import pattress.report
from pattress.circuit.working import LAST_WORD
from pattress.model.plan import Point
from pattress.model.rules import Waiver
from pattress.policy.fit_which import whatever_kind, which
from pattress.policy.fitness import judge_points
from pattress.report.fit import NOTHING_PLANNED, fit_document, fit_text, which_document, which_text
from pattress.report.text import Style
from unit.policy.examples import site
from unit.policy.fit_examples import DIMMER, DRY, HEATER, IEC, RELAY
from unit.policy.test_fit_which import point as wired

TODAY = date(2026, 11, 25)
HOT = replace(wired(replace(HEATER, power_w=3600)), name="towel-rail", kind="relay")
BARE = Point(name="cellar", room="Cellar", kind="relay")
KINDS = tuple(replace(profile, id=name) for name, profile in {"relay": RELAY, "dry": DRY, "dimmer": DIMMER}.items())
HOUSE = site(HOT, BARE, profiles=KINDS, tables=IEC)
SCHEMAS = Path(pattress.report.__file__).parent / "schemas"


def valid(document: object, name: str) -> object:
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker()).validate(document)
    return document


def test_the_text_has_each_point_its_outcome_the_numbers_and_what_to_do() -> None:
    judged = judge_points(HOUSE, HOUSE.plan.points, today=TODAY)

    text = fit_text("House", IEC, judged, Style(width=1000))

    assert "towel-rail (relay): does not suit its circuit, 1 reason\n" in text
    assert "broken (danger): The module may switch the load: towel rail (3600 W resistive at 230 V): 15.65 A" in text
    assert f"cellar (relay): {NOTHING_PLANNED}\n" in text
    assert "To do: Choose a kind that is made for it" in text
    assert LAST_WORD in text
    assert "met: The circuit's voltage is one that the module takes: 230 V AC" in text
    assert text.endswith("accepted, 6 met; 1 point without a circuit.\n")


def test_the_brief_text_counts_what_is_met_of_the_place() -> None:
    judged = judge_points(HOUSE, HOUSE.plan.points, today=TODAY)

    text = fit_text("House", IEC, judged, Style(width=1000), is_brief=True)

    assert "230 V AC" not in text
    assert "met: 6 more, which `pattress fit towel-rail` shows" in text
    assert "15.65 A" in text


def test_the_document_keeps_to_its_schema_and_has_the_working() -> None:
    judged = judge_points(HOUSE, HOUSE.plan.points, today=TODAY)

    document = fit_document("House", IEC, judged)

    valid(document, "fit-1")
    hot, bare = document["points"]
    assert (hot["outcome"], hot["is_planned"]) == ("broken", True)
    assert (bare["outcome"], bare["is_planned"], bare["questions"]) == ("unverified", False, [])
    rating = next(one for one in hot["questions"] if one["rule"] == "fit-rating")
    assert rating["values"]["current_a"] == pytest.approx(3600 / 230)
    assert [line["unit"] for line in rating["working"]].count("A") >= 3
    assert all(line["source"] for line in rating["working"])


def test_a_waiver_accepts_what_does_not_suit() -> None:
    waiver = Waiver(
        rule="fit-rating", reason="until the boiler is moved", who="A. Fitter", until=TODAY, point="towel-rail"
    )
    house = site(HOT, profiles=KINDS, tables=IEC, waivers=(waiver,))

    (judged,) = judge_points(house, house.plan.points, today=TODAY)

    assert judged.outcome == "met"
    assert len(judged.fits) == len(judged.findings)
    document = fit_document("House", IEC, [judged])
    valid(document, "fit-1")
    assert document["counts"] == {"broken": 0, "unverified": 0, "waived": 1, "met": 6}
    assert "accepted: The module may switch the load" in fit_text("House", IEC, [judged], Style(width=1000))


def test_kinds_are_told_best_first_with_what_speaks_against_the_others() -> None:
    here = replace(HOT, circuit=replace(wired(replace(HEATER, power_w=3000)).circuit, separation="none"))
    candidates = which(here, HOUSE.plan, KINDS, IEC)
    common = whatever_kind(here, RELAY, HOUSE.plan, IEC)

    text = which_text("House", IEC, here, candidates, common, Style(width=1000))
    document = valid(which_document("House", IEC, here, candidates, common), "fit-which-1")

    assert text.index("SUIT: 1") < text.index("relay (Maker One, as planned)") < text.index("DO NOT SUIT: 2")
    assert "    danger: The module may switch the load: towel rail (3000 W resistive at 230 V): 13.04 A" in text
    assert "    it has no output.1\n" in text
    assert "WHATEVER THE KIND\n  broken: Extra-low voltage and mains are kept apart" in text
    assert isinstance(document, dict)
    assert [one["kind"] for one in document["kinds"]] == ["relay", "dry", "dimmer"]


def test_what_a_plan_says_cannot_act_on_a_terminal() -> None:
    nasty = replace(HOT, circuit=replace(wired(replace(HEATER, name="rail\x1b[2J")).circuit))

    text = fit_text("House", IEC, judge_points(HOUSE, [nasty], today=TODAY), Style())

    assert "\x1b" not in text
