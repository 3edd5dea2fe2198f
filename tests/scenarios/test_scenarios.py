"""Scripted leaks that must be told as their files say, and harmless days of which nothing may be told."""

from collections import Counter
from pathlib import Path

import pytest
from pydantic import ValidationError

from pattress.model.encounter import Encounter, ToldKind
from scenarios.playing import Played, played
from scenarios.shapes import Scenario, ToldShape, scenario_of

HERE = Path(__file__).parent
LEAKS, HARMLESS = (sorted((HERE / kind).glob("*.toml")) for kind in ("leaks", "harmless"))
RULES: dict[ToldKind, str] = {
    "reached": "stays-inside",
    "approached": "stays-inside",
    "tried": "asks-nothing-outside",
    "asked": "asks-nothing-outside",
    "unlike-before": "unlike-before",
}


def test_there_are_at_least_thirty_of_each() -> None:
    assert min(len(LEAKS), len(HARMLESS)) >= 30


@pytest.mark.parametrize("file", LEAKS, ids=lambda file: file.stem)
async def test_a_leak_is_told_as_it_must_be(file: Path, tmp_path: Path) -> None:
    scenario = scenario_of(file)
    assert scenario.told

    came = await played(scenario, tmp_path)

    assert set(came.told) == {(one.kind, one.device, one.place) for one in scenario.told}
    for one in scenario.told:
        check_told(one, came)
    expected = {(one.device, RULES[one.kind]) for one in scenario.told} | {
        (device, "setting-true") for device in scenario.untrue
    }
    check_findings(scenario, came, expected)


@pytest.mark.parametrize("file", HARMLESS, ids=lambda file: file.stem)
async def test_of_a_harmless_day_nothing_is_told(file: Path, tmp_path: Path) -> None:
    scenario = scenario_of(file)
    assert not scenario.told

    came = await played(scenario, tmp_path)

    assert came.at_once == []
    assert list(came.daily) == []
    assert list(came.encounters) == []
    check_findings(scenario, came, set())


def check_told(expected: ToldShape, came: Played) -> None:
    told = came.told[expected.kind, expected.device, expected.place]
    alerts = [one for one in came.at_once if one.told.device == told.device
              and (one.told.kind, one.told.place) == (told.kind, told.place)]  # fmt: skip
    due = [one for one in came.daily if (one.device, one.kind, one.place) == (told.device, told.kind, told.place)]
    assert len(alerts) == (1 if expected.how == "at once" else 0)
    if expected.how == "in the message of the day":
        assert len(due) == 1
    elif expected.times == 1:
        assert due == [], "it was told once"
        assert told.count == expected.times
    if expected.kind == "unlike-before":
        assert alerts[0].sentence
        return
    own = [one for one in came.encounters if one.device == told.device and one.kind == expected.kind]
    for remote in expected.remotes:
        check_encounter(expected, [one for one in own if one.remote == remote])


def check_encounter(expected: ToldShape, encounters: list[Encounter]) -> None:
    assert encounters
    if expected.port is not None:
        assert {one.port for one in encounters} == {expected.port}
    if expected.name is not None:
        assert encounters[-1].name == expected.name
    assert (
        encounters[-1].remark is None if expected.remark is None else expected.remark in (encounters[-1].remark or "")
    )
    if expected.sources:
        assert {source for one in encounters for source in one.sources} == set(expected.sources)


def check_findings(scenario: Scenario, came: Played, broken: set[tuple[str, str]]) -> None:
    found = {(one.subject.title, one.rule.id): one.outcome for one in came.findings}
    assert len(found) == len(came.findings)
    assert {key for key, outcome in found.items() if outcome == "broken"} == broken
    others = {(rule, outcome) for (_, rule), outcome in found.items() if outcome != "broken"}
    assert others == set(scenario.otherwise.items()), "each device that has nothing to do with it is judged by both"
    heard: Counter[str] = Counter()
    for one in came.hearings:
        heard.update(lost=one.lost, refused=one.refused, unmatched=one.unmatched)
    assert dict(heard) == scenario.heard.model_dump()


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        ("step.0.form", 'title = "A title"\nwire = "{w}"\n[[step]]\nat = "0:00:01"\nlines = "x"\nform = 1\n'),
        ("step.0", 'title = "A title"\nwire = "{w}"\n[[step]]\nat = "0:00:01"\n'),
        ("told.0.kind", 'title = "A title"\nwire = "{w}"\n[[told]]\nkind = "reach"\ndevice = "a"\nplace = "b"\n'),
        ("tidle", 'tidle = "A title"\ntitle = "A title"\nwire = "{w}"\n'),
    ],
)
def test_a_mistyped_file_is_no_scenario(fault: str, text: str, tmp_path: Path) -> None:
    file = tmp_path / "leak.toml"
    file.write_text(text.replace("{w}", "what happens " * 4).replace("A title", "A title of some length"))

    with pytest.raises(ValidationError) as raised:
        scenario_of(file)

    faults = [".".join(map(str, one["loc"])) for one in raised.value.errors()]
    assert any(one.startswith(fault) for one in faults)
