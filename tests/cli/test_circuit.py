"""`pattress circuit`: the calculator."""

import json
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import typer
from click.testing import Result
from typer.testing import CliRunner

import pattress.report
from cli.running import pattress_command
from pattress.cli.app import application
from pattress.cli.commands.circuit import circuit
from pattress.model.errors import CircuitError, SiteFileError, UsageError

SCHEMAS = Path(pattress.report.__file__).parent / "schemas"
QUESTIONS = typer.main.get_command(circuit).commands  # type: ignore[attr-defined]
COMMANDS = sorted(QUESTIONS)
HOUSE = Path(__file__).parent.parent / "unit" / "site" / "house"
GUIDE = Path(__file__).parent.parent.parent / "docs" / "circuits.md"
STATUSES = {"fits": 0, "figure": 0, "unfit": 1, "undecided": 3}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A site as far as tables go."""
    for name in ("site.toml", "tables.toml"):
        shutil.copy(HOUSE / name, tmp_path / name)
    return tmp_path


def ask(*words: str, **environment: str) -> Result:
    return CliRunner().invoke(application, ["circuit", *words], env={"PATTRESS_SITE": None, **environment})


def document(*words: str, **environment: str) -> Any:
    """The JSON of an answer, checked against the schema that it names, its verdict against the exit status."""
    ended = ask(*words, "--json", **environment)
    found = json.loads(ended.stdout)
    name = found["schema"].removeprefix("pattress.").replace("/", "-")
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(found)
    if "verdict" in found:
        assert ended.exit_code == STATUSES[found["verdict"]]
    return found


def example_of(command: str) -> list[str]:
    """The words of the example in the help of a question; the help as it is shown breaks lines at hyphens."""
    found = re.search(r"Example: pattress circuit (.*)", QUESTIONS[command].help)
    assert found is not None, f"{command} has no example"
    return shlex.split(found[1])


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_of_each_question_runs_and_fits(command: str) -> None:
    words = example_of(command)

    text, found = ask(*words), document(*words)

    assert words[0] == command
    assert text.exit_code == 0, text.stdout
    assert "licensed electrician" in " ".join(text.stdout.split())
    assert "licensed electrician" in found["last_word"]


@pytest.mark.parametrize("command", [command for command in COMMANDS if command != "tables"])
def test_every_line_of_every_example_has_its_source(command: str) -> None:
    found = document(*example_of(command))

    assert all(line["source"] and line["formula"] for line in found["working"])
    assert found["sentence"]


@pytest.mark.parametrize(
    ("words", "verdict"),
    [
        ("contact 9 --count 40 --kind led-lamp --voltage 230 --rated-a 10", "unfit"),
        ("contact 9 --voltage 230", "undecided"),
        ("inrush 2 --rated-a 10", "unfit"),
        ("breaker 16 --continuous-a 16 --family nec", "unfit"),
        ('breaker 16 --continuous-a 16 --conductor "2.5 mm2" --family iec', "fits"),
        ("breaker 16 --continuous-a 16 --family iec", "undecided"),
        ('breaker 20 --other-a 10 --conductor "14 AWG" --family nec', "unfit"),
        ("dimmer 9 --count 6 --voltage 230 --rated-w 200 --minimum-w 3 --edge leading", "unfit"),
        ("dimmer 9 --count 6 --voltage 230 --rated-w 200 --edge leading --asked-edge leading", "fits"),
        ("dimmer 50 --kind motor --voltage 230 --rated-w 200", "unfit"),
        ("supply --voltage 277 --ac-range 110-260", "unfit"),
        ("supply --voltage 230 --ac-range 110-260 --needs-neutral", "undecided"),
        ("supply --voltage 230 --ac-range 110-260 --needs-neutral --no-neutral", "unfit"),
        ("supply --voltage 24 --dc --dc-range 12-48", "fits"),
        ("isolation --voltage 230 --potential-free --not-isolated", "unfit"),
        ("isolation --voltage 230 --extra-low --isolated", "unfit"),
        ("isolation --voltage 230 --extra-low --isolated --separation insulation", "fits"),
        ("isolation --voltage 230 --extra-low --isolated --separation none", "unfit"),
        ("isolation --voltage 230 --potential-free", "undecided"),
        ("channels 9 9 --voltage 230 --rated-a 10", "undecided"),
        ("channels 9 9 --voltage 230 --rated-a 10 --breaker-a 16", "unfit"),
        ("strip 14.4 --length 5 --voltage 12 --lead-mm2 0.75 --lead-m 5", "unfit"),
        ("strip 14.4 --length 5 --voltage 24 --supply-w 75", "unfit"),
        ("strip 14.4 --length 5", "figure"),
        ('drop 16 --length 60 --conductor "2.5 mm2" --voltage 230', "unfit"),
        (
            'box --volume-in3 15.7 --conductors "12 AWG:4" --grounds "12 AWG:2" --yokes 1 --family nec',
            "unfit",
        ),
        ('box --volume-cm3 100 --conductors "1.5 mm2:4" --module-cm3 40', "undecided"),
        ("class2 150 --voltage 24", "unfit"),
        ("rating --voltage 230", "undecided"),
    ],
)
def test_the_exit_status_is_the_verdict(words: str, verdict: str) -> None:
    assert document(*shlex.split(words))["verdict"] == verdict


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("load nan --voltage 230", "power: nan cannot be. Give a number in W."),
        ("load 9 --voltage 0", "voltage: 0 cannot be"),
        ("load 9 --voltage 230 --kind led-lamps", "Did you mean led-lamp?"),
        ("isolation --voltage 230 --separation bariers", "Did you mean barrier?"),
        ("load 9 --voltage 230 --power-factor 90", "Write 0.9 for 90 %."),
        ("load 9 --voltage 230 --phases 2", "Use 1 or 3."),
        ("load 9 --voltage 230 --family ice", "Did you mean iec?"),
        ("conductor 1.6", "Did you mean 1.5 mm²?"),
        ("drop 9 --length 5 --conductor 1.5 --voltage 230 --allowed 3", "Write 0.03 for 3 %."),
        ("drop 9 --length 5 --conductor 1.5 --voltage 230 --construction stranted", "Did you mean stranded?"),
        ("rating --voltage 230 --module tarnhollow-brase", "Did you mean tarnhollow-brace?"),
        ("supply --voltage 230 --ac-range 110", "'110' is no range"),
        ("supply --voltage 230 --ac-range 260-110", "upside down"),
        ("box --volume-in3 18 --volume-cm3 300", "not exactly one volume"),
        ('box --volume-in3 18 --conductors "12 AWG" --family nec', "does not say how many"),
        ("breaker 16 --other-a=-3", "load: -3 cannot be"),
    ],
)
def test_what_cannot_be_is_told_in_words_and_what_to_do(words: str, says: str) -> None:
    ended = ask(*shlex.split(words))

    assert isinstance(ended.exception, CircuitError)
    assert says in str(ended.exception)


async def test_wrong_usage_has_its_own_exit_status_and_no_traceback() -> None:
    ended = await pattress_command("circuit", "load", "9", "--voltage", "0")

    assert ended.status == 2
    assert ended.err == "voltage: 0 cannot be. Give a number above 0 in V.\n"
    assert ended.out == ""


async def test_a_terminal_without_greek_letters_still_shows_the_working() -> None:
    ended = await pattress_command(
        "circuit", "load", "9", "--voltage", "230", environment={"PYTHONIOENCODING": "ascii"}
    )

    assert ended.status == 0
    assert "S = P / cos ? = 9 W / 1 = 9 VA" in ended.out


def test_a_data_sheet_fills_in_what_is_not_given() -> None:
    of_sheet = document("rating", "--voltage", "120", "--module", "tarnhollow-brace")
    given = document("rating", "--voltage", "120", "--module", "tarnhollow-brace", "--rated-a", "5")

    assert of_sheet["values"]["rating_a"] == 10
    assert given["values"]["rating_a"] == 5


def test_the_total_of_a_data_sheet_counts_beside_the_breaker() -> None:
    words = ("channels", "10", "10", "--voltage", "230", "--breaker-a", "20", "--module", "brackenvolt-twin")

    assert document(*words)["verdict"] == "unfit"  # the data sheet: 16 A in all
    assert document(*words)["values"]["total_limit_a"] == 16
    assert document(*words, "--total-a", "20")["verdict"] == "fits"


@pytest.mark.parametrize(
    ("words", "verdict", "says"),
    [
        ("3 --count 10 --module quernlight-glow", "fits", "The dimmer cuts the trailing edge"),
        ("3 --count 11 --module quernlight-glow", "unfit", "11 lamps are more than the 10"),
        ("9 --count 6 --module quernlight-glow-two-wire", "unfit", "The dimmer cuts the leading edge, but"),
        (
            "9 --count 6 --module quernlight-glow-two-wire --asked-edge leading",
            "fits",
            "the lamp's maker asks for leading",
        ),
        ("9 --count 6 --module quernlight-glow-two-wire --edge trailing", "fits", "The dimmer cuts the trailing edge"),
    ],
)
def test_a_data_sheet_says_how_many_lamps_a_dimmer_takes_and_which_edge_it_cuts(
    words: str, verdict: str, says: str
) -> None:
    found = document("dimmer", *shlex.split(words), "--voltage", "230")

    assert found["verdict"] == verdict
    assert says in found["sentence"]


def test_an_led_controller_takes_the_voltages_of_its_data_sheet_alone() -> None:
    verdicts = [
        document("supply", "--voltage", volts, "--dc", "--module", "quernlight-ribbon")["verdict"]
        for volts in ("12", "18", "24", "30")
    ]

    assert verdicts == ["fits", "unfit", "fits", "unfit"]


def test_what_a_data_sheet_states_of_motors_counts_for_a_motor() -> None:
    found = document(*shlex.split("contact 700 --kind motor --voltage 230 --module brackenvolt-twin"))

    assert found["verdict"] == "unfit"  # 700 W / (230 V x 0.7) = 4.348 A; the data sheet: 3 A
    assert "4.348 A are more than the 3 A that the data sheet gives for a motor load" in found["sentence"]


def test_the_figures_of_a_site_count(folder: Path) -> None:
    words = ("contact", "9", "--count", "50", "--power-factor", "0.9", "--kind", "led-lamp", "--voltage", "230")

    shipped = document(*words, "--rated-a", "10")
    of_site = document(*words, "--rated-a", "10", "--site", str(folder))
    by_environment = document(*words, "--rated-a", "10", PATTRESS_SITE=str(folder))

    assert (shipped["verdict"], of_site["verdict"]) == ("unfit", "fits")
    assert of_site == by_environment
    assert any("the maker's measurement of 2026" in line["source"] for line in of_site["working"])


@pytest.mark.parametrize("words", [("load", "9"), ("rating", "--module", "of-my-own")])
def test_a_site_that_is_none_is_wrong_usage(words: tuple[str, ...], tmp_path: Path) -> None:
    ended = ask(*words, "--voltage", "230", "--site", str(tmp_path))

    assert isinstance(ended.exception, UsageError)


def test_the_faults_of_a_sites_tables_are_told(folder: Path) -> None:
    (folder / "tables.toml").write_text("[figure]\nclass2_va = 3\n", encoding="utf-8")

    ended = ask("class2", "50", "--voltage", "24", "--site", str(folder))

    assert isinstance(ended.exception, SiteFileError)


def test_the_tables_say_what_a_site_has_changed(folder: Path) -> None:
    found = document("tables", "--site", str(folder))

    assert found["figures"]["drop_strip_share"]["value"] == 0.04
    assert found["kinds"]["led-lamp"]["inrush"]["source"] == "the maker's measurement of 2026"
    assert found["laying"] == "C"


def test_the_guide_names_every_question_and_its_tables_are_right(folder: Path) -> None:
    guide = GUIDE.read_text(encoding="utf-8")
    [example] = re.findall(r"```toml\n(.*?)```", guide, re.DOTALL)
    (folder / "tables.toml").write_text(example, encoding="utf-8")

    named = {word for row in re.findall(r"^\| (`.*?) \|", guide, re.MULTILINE) for word in re.findall("`(.*?)`", row)}

    assert named == set(COMMANDS)
    assert document("tables", "--site", str(folder))["figures"]["drop_strip_share"]["source"] == "our own eyes"


@pytest.mark.parametrize(
    "line", re.findall(r"^pattress circuit (.*)$", GUIDE.read_text(encoding="utf-8"), re.MULTILINE)
)
def test_the_examples_of_the_guide_run(line: str) -> None:
    assert ask(*shlex.split(line)).exit_code == 0
