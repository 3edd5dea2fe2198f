"""Each benchmark does its work at a tiny size. How long it takes is no matter here."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ENDS_WITHIN_S = 120
FIGURES = {
    "reading_gently": ["read all at once", "most connections to one device", "whole audit"],
    "reading_many": ["processor time", "peak memory of the process"],
    "judging": ["one check, every value met", "one check, 5% of snapshots broken"],
    "help_time": ["median", "heavy modules imported"],
    "store_growth": ["an unchanged reading", "keeping one audit"],
    "scale": ["10 devices: judge", "10 devices: peak memory"],
    "flows": ["decode and judge, from memory", "a record at the fastest stream", "a line of a log, all of them"],
    "heat": ["each 5 s: root mean square error", "each 15 to 30 s: time of a fit"],
    "year": ["the database", "history of a point at a moment", "one more night: the whole audit"],
}


@pytest.mark.parametrize("name", FIGURES)
def test_a_benchmark_gives_its_figures_and_judges_none_of_a_tiny_run(name: str) -> None:
    ended = benchmarks(name, "--tiny")

    assert ended.returncode == 0, ended.stderr
    for figure in FIGURES[name]:
        assert any(line.startswith(figure) for line in ended.stdout.splitlines()), ended.stdout
    assert "met" not in ended.stdout.lower().replace("value met", "").split()


def test_an_unknown_benchmark_is_named_and_none_is_run() -> None:
    ended = benchmarks("sleeping", "--tiny")

    assert ended.returncode == 2
    assert "there is no benchmark 'sleeping'" in ended.stderr
    assert ended.stdout == ""


def test_a_missed_goal_is_said_and_a_met_one_too() -> None:
    program = """
from benchmarks.measured import Benchmark, Measured, shown
slow = Measured(what="slow", unit="s", ours=3, reference=1, beside="plain", ratio_at_most=2)
quick = Measured(what="quick", unit="s", ours=2, reference=1, beside="plain", ratio_at_most=2)
bare = Measured(what="bare", unit="s", ours=2)
print(shown(Benchmark(title="three", figures=[slow, quick, bare]), is_judged=True))
"""

    ended = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)

    assert [line.split() for line in ended.stdout.splitlines()[2:]] == [
        ["slow", "3", "s", "plain", "1", "s", "3.00", "ratio", "<=", "2", "NOT", "MET"],
        ["quick", "2", "s", "plain", "1", "s", "2.00", "ratio", "<=", "2", "met"],
        ["bare", "2", "s"],
    ]


def benchmarks(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "benchmarks", *words]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=ENDS_WITHIN_S)
