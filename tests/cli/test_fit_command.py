"""`pattress fit`."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cli.running import pattress_command
from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.misfits import ALL_MISFITS, MISFITS, wiring_with
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site
from pattress.lab.wiring import Wiring

PLAN = """
[[point]]
name = "hall-lights"
room = "Hall"
kind = "brackenvolt-gauge"
[point.plan]
input.1.action = "impulse"
[point.circuit]
voltage_v = 230
breaker_a = 10
conductor_mm2 = 1.5
length_m = 12
neutral = true
ambient_c = 30
[[point.load]]
channel = "output.1"
kind = "led-lamp"
power_w = 9
count = 6
lighting_outlet = true
"""
HEATER = """
[[point]]
name = "towel-rail"
room = "Bath"
kind = "brackenvolt-gauge"
[point.plan]
output.1.at_power_up = "off"
[point.circuit]
voltage_v = 230
breaker_a = 16
conductor_mm2 = 2.5
length_m = 12
neutral = true
ambient_c = 30
[[point.load]]
channel = "output.1"
kind = "resistive"
power_w = 3600
hazard = "heats"
"""
UNSAID = PLAN.replace("hall-lights", "attic-lights").replace("Hall", "Attic").replace("neutral = true\n", "")


@pytest.fixture
async def folder(tmp_path: Path) -> Path:
    assert (await pattress_command("init", str(tmp_path))).status == 0
    return tmp_path


def plan(folder: Path, text: str) -> None:
    (folder / "points.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(("text", "status"), [(PLAN, 0), (PLAN + UNSAID, 3), (PLAN + UNSAID + HEATER, 1)])
async def test_the_exit_status_tells_the_worst_of_all_points(folder: Path, text: str, status: int) -> None:
    plan(folder, text)

    ended = await pattress_command("fit", "--all", "--site", str(folder))

    assert (ended.status, ended.err) == (status, "")
    assert "hall-lights (brackenvolt-gauge): suits its circuit" in ended.out
    assert max(map(len, ended.out.splitlines())) <= 120


async def test_one_point_is_judged_with_its_numbers_and_as_a_document(folder: Path) -> None:
    plan(folder, PLAN + HEATER)

    told = await pattress_command("fit", "towel-rail", "--site", str(folder))
    document = (await pattress_command("fit", "towel-rail", "--json", "--site", str(folder))).document

    assert told.status == 1
    assert "15.65 A against 15.22 A usable" in " ".join(told.out.split())
    assert document["schema"] == "pattress.fit/1"
    assert [point["point"] for point in document["points"]] == ["towel-rail"]
    assert document["counts"]["broken"] == 1


async def test_kinds_are_ranked_for_a_point(folder: Path) -> None:
    plan(folder, PLAN + HEATER)

    told = await pattress_command("fit", "hall-lights", "--which", "--site", str(folder))
    document = (await pattress_command("fit", "towel-rail", "--which", "--json", "--site", str(folder))).document
    none = await pattress_command("fit", "towel-rail", "--which", "--site", str(folder))

    assert told.status == 0
    assert told.out.index("brackenvolt-gauge") < told.out.index("DO NOT SUIT")
    assert document["schema"] == "pattress.fit-which/1"
    assert {kind["outcome"] for kind in document["kinds"]} == {"broken"}
    assert none.status == 1


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "name points, or give --all"),
        (("hall-lights", "--all"), "name points, or give --all"),
        (("--all", "--which"), "name one point with --which"),
        (("hall-light",), "Did you mean hall-lights?"),
        (("cellar", "--which"), "nothing is planned of what it is wired into"),
    ],
)
async def test_wrong_usage_is_told_with_the_way_out(folder: Path, words: tuple[str, ...], message: str) -> None:
    plan(folder, PLAN + '[[point]]\nname = "cellar"\nroom = "Cellar"\nkind = "brackenvolt-gauge"\n')

    ended = await pattress_command("fit", *words, "--site", str(folder))

    assert (ended.status, ended.out) == (2, "")
    assert message in ended.err


async def test_every_misfit_planted_in_the_plan_of_the_demo_is_found_with_its_numbers(tmp_path: Path) -> None:
    healthy, planted = (_mill(tmp_path / name, wiring_with(names)) for name, names in (("a", ()), ("b", MISFITS)))

    well = await pattress_command("fit", "--all", "--site", healthy)
    ill = await pattress_command("fit", "--all", "--site", planted)
    document = (await pattress_command("fit", "--all", "--json", "--site", planted)).document

    assert (well.status, ill.status) == (0, 1)
    assert well.out.count("suits its circuit\n") == len(document["points"]) == 17
    broken = {
        (point["point"], question["rule"]): question["sentence"]
        for point in document["points"]
        for question in point["questions"]
        if question["outcome"] == "broken"
    }
    assert broken.keys() == {(one.point, rule) for one in ALL_MISFITS for rule, _ in one.found}
    told = " ".join(ill.out.split())
    for misfit in ALL_MISFITS:
        sentence = broken[misfit.point, misfit.found[0][0]]
        assert [words for words in misfit.words if words not in sentence or words not in told] == [], misfit.name


def _mill(folder: Path, wiring: Mapping[str, Wiring]) -> str:
    """The files of the emulated house, which need not run: nothing is asked of any device."""
    house = EmulatedHouse(ground=MILL_GROUND, wiring=wiring)
    house.broker = Endpoint("127.77.0.1", 1883)
    where = Circumstances(ground=MILL_GROUND, broker=house.broker)
    house.modules = {module.title: module for module in larkspur_mill(where)}
    return str(write_site(house, folder, today=datetime.now(UTC).date()))
