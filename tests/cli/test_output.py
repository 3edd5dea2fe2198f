"""Colour, progress and exit status."""

import io
import subprocess
import sys

import pytest
import typer

from cli.running import pattress_command
from pattress.cli.app import application
from pattress.cli.commands.circuit import circuit
from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, TerminalProgress, may_colour, status_of, style

HEAVY = ("aiohttp", "zeroconf", "paho", "pydantic", "sqlite_utils", "sqlite3", "jmespath", "amqtt", "numpy", "rich")


@pytest.mark.parametrize(
    ("environment", "is_terminal", "expected"),
    [
        ({"TERM": "xterm"}, True, True),
        ({"TERM": "xterm"}, False, False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, True, False),
        ({"TERM": "xterm", "NO_COLOR": ""}, True, True),
        ({"TERM": "dumb"}, True, False),
        ({}, True, False),
    ],
)
def test_colour_is_for_terminals_that_want_it(environment: dict[str, str], is_terminal: bool, expected: bool) -> None:
    """no-color.org: NO_COLOR counts when it is present and not empty."""
    assert may_colour(environment, is_terminal=is_terminal) is expected


@pytest.mark.parametrize(
    ("outcomes", "status"),
    [
        ([], ALL_MET),
        (["met", "waived"], ALL_MET),
        (["met", "unverified"], UNVERIFIED),
        (["met", "unverified", "broken"], BROKEN),
    ],
)
def test_broken_comes_before_unverified_before_met(outcomes: list[str], status: int) -> None:
    assert status_of(outcomes) == status


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_counts_on_a_terminal_and_takes_itself_away() -> None:
    stream = _Terminal()
    progress = TerminalProgress(stream)

    progress(3, 16)
    progress.end()

    assert "3 of 16" in stream.getvalue()
    assert stream.getvalue().endswith("\r\x1b[K")


def test_progress_is_silent_elsewhere() -> None:
    stream = io.StringIO()
    progress = TerminalProgress(stream)

    progress(3, 16)
    progress.end()

    assert stream.getvalue() == ""


def test_help_imports_nothing_heavy() -> None:
    script = (
        "import sys; sys.argv = ['pattress', '--help']\n"
        "from pattress.__main__ import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )

    ended = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert "audit" in ended.stdout
    assert ended.stderr == "[]\n"


@pytest.mark.parametrize(("words", "group"), [((), application), (("circuit",), circuit)])
@pytest.mark.parametrize("columns", [40, 80])
async def test_help_says_of_each_command_its_whole_sentence_within_the_terminal(
    words: tuple[str, ...], group: typer.Typer, columns: int
) -> None:
    ended = await pattress_command(*words, "--help", environment={"COLUMNS": str(columns)})

    shown = "".join(ended.out.split())  # lines are broken at hyphens, too
    assert max(map(len, ended.out.splitlines())) <= columns
    for command in group.registered_commands:
        assert command.callback is not None
        assert command.callback.__doc__ is not None
        assert command.callback.__doc__.split("\n")[0].split(". ")[0].replace(" ", "") in shown


@pytest.mark.parametrize(("columns", "width"), [(10, 40), (40, 40), (80, 80), (300, 120)])
def test_text_keeps_to_the_columns_of_the_terminal(columns: int, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))

    assert style().width == width
