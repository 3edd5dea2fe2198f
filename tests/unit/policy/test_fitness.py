"""Fitness as a whole: what nobody says, findings, and the shipped kinds."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pattress.model.circuit import Box, Circuit, Conductors, Load
from pattress.model.plan import Plan, Point
from pattress.model.profile import DataSheet, Profile
from pattress.policy.fit_rules import EXPECTED, FIT_RULES
from pattress.policy.fitness import fitness
from pattress.site.load import load_profiles
from pattress.site.places import shipped_profiles_folder
from unit.policy.fit_examples import (
    DOWNLIGHTS,
    HEATER,
    IEC,
    MAINS,
    RELAY,
    STRIP,
    STRIP_SUPPLY,
    TWIN,
    judged,
    kind,
    rated,
)


@pytest.mark.parametrize(
    ("rule", "changes"),
    [
        ("fit-breaker", {"breaker_a": None}),
        ("fit-voltage-drop", {"length_m": None}),
        ("fit-voltage-drop", {"conductors": None}),
        ("fit-voltage-drop", {"conductors": Conductors(mm2=1.7)}),
        ("fit-rating", {"loads": ()}),
        ("fit-rating", {"loads": (replace(HEATER, power_w=0.0),)}),
        ("fit-breaker", {"loads": (replace(HEATER, power_w=0.0),)}),
        ("fit-rating", {"profile": rated(RELAY, rated_current_a=None, rated_power_w=None)}),
        ("fit-ambient", {"profile": rated(RELAY, maximum_temperature_c=None)}),
        ("fit-box-room", {"profile": rated(RELAY, module_cm3=None), "box": Box(volume_cm3=200)}),
        ("fit-neutral", {"has_neutral": None}),
        (
            "fit-total",
            {"profile": rated(TWIN, total_current_a=None), "loads": (HEATER, replace(HEATER, channel="output.2"))},
        ),
    ],
)
def test_what_nobody_says_is_unverified_and_never_met(rule: str, changes: dict[str, Any]) -> None:
    profile = changes.get("profile", RELAY)
    circuit = {"loads": (HEATER,), **{key: value for key, value in changes.items() if key != "profile"}}

    fit = judged(profile, **circuit)[rule]

    assert fit.outcome == "unverified"
    assert fit.sentence


def test_nothing_is_met_where_the_data_sheet_is_empty() -> None:
    empty = rated(kind("metered-relay", output=1, input=1, sheet=DataSheet()))

    outcomes = judged(empty, DOWNLIGHTS, has_neutral=None)

    met = {name for name, fit in outcomes.items() if fit.outcome == "met"}
    assert met == {"fit-separation", "fit-breaker", "fit-voltage-drop"}  # which no data sheet is asked about


def test_a_finding_says_what_must_be_and_tells_channels_apart() -> None:
    loads = (HEATER, replace(HEATER, channel="output.2", power_w=4000))
    point = Point(name="here", room="Room", kind="one", circuit=Circuit(**{**MAINS, "loads": loads}))

    findings = [one for one in fitness(point, TWIN, Plan(points=(point,)), IEC) if one.rule.id == "fit-rating"]

    assert [(one.outcome, one.expected) for one in findings] == [
        ("met", "within what the module may switch (output.1)"),
        ("broken", "within what the module may switch (output.2)"),
    ]
    assert findings[1].sentence.startswith(
        "The module may switch the load: towel rail (4000 W resistive at 230 V): 17.39 A"
    )


def test_a_point_without_a_circuit_has_no_findings() -> None:
    point = Point(name="here", room="Room", kind="one", settings={"input.1.action": "reports"})

    assert fitness(point, RELAY, Plan(points=(point,)), IEC) == []


def test_every_rule_has_words_and_sources_and_names_nothing_twice() -> None:
    assert len({rule.id for rule in FIT_RULES}) == len(FIT_RULES) == len(EXPECTED)
    for rule in FIT_RULES:
        assert all((rule.because, rule.fix, rule.cites, EXPECTED[rule.id]))


@pytest.mark.parametrize("profile", load_profiles([shipped_profiles_folder()]), ids=lambda profile: profile.id)
def test_the_shipped_data_sheets_leave_no_question_open(profile: Profile) -> None:
    channel = profile.load_channels[0]
    mains: dict[str, Load] = {
        "dimmer.1": Load(channel=channel, kind="led-lamp", power_w=8, count=4, dimmed_by=None),
        "led.1": replace(STRIP, strip_m=4),
        "shutter": Load(channel=channel, kind="motor", power_w=150),
    }
    circuit = STRIP_SUPPLY if channel == "led.1" else {}

    outcomes = judged(profile, mains.get(channel, HEATER), **circuit)

    assert [name for name, fit in outcomes.items() if fit.outcome == "unverified" and name.startswith("fit")] == []


def test_the_questions_have_their_place_in_the_guide() -> None:
    guide = (Path(__file__).parents[3] / "docs" / "planning.md").read_text(encoding="utf-8")

    assert [rule.id for rule in FIT_RULES if f"`{rule.id}`" not in guide] == []
