"""Printing and exit status: results to stdout, everything else to stderr.

What belongs here: where and how text goes. What does not: the text.
"""

import json
import os
import shutil
import sys
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NoReturn, TextIO

import typer

if TYPE_CHECKING:
    from pattress.report.text import Style

ALL_MET = 0
BROKEN = 1
WRONG = 2
UNVERIFIED = 3

NARROWEST, WIDEST = 40, 120  # columns: a phone held upright has the former; lines above the latter are hard to follow


def tell(text: str) -> None:
    """Say something that is not the result."""
    typer.echo(text, err=True)


def give(text: str) -> None:
    """Print a result as text."""
    typer.echo(text, nl=not text.endswith("\n"))


def give_json(document: Mapping[str, Any]) -> None:
    """Print a result as one JSON document, in plain ASCII so that nothing in it can act on a terminal."""
    typer.echo(json.dumps(document, indent=2))


def give_pieces(pieces: Iterable[str]) -> None:
    """Print a result that comes in pieces, with its own line ends."""
    stdout = typer.get_binary_stream("stdout")
    stdout.writelines(piece.encode("utf-8") for piece in pieces)
    stdout.flush()


def leave(status: int) -> NoReturn:
    """End the command with an exit status."""
    raise typer.Exit(status)


def status_of(outcomes: Iterable[str]) -> int:
    """Return the exit status of an audit: broken before unverified before met."""
    seen = set(outcomes)
    return BROKEN if "broken" in seen else UNVERIFIED if "unverified" in seen else ALL_MET


def may_colour(environment: Mapping[str, str], *, is_terminal: bool) -> bool:
    """Whether colour may be used: on a terminal that is not dumb, with NO_COLOR unset or empty (no-color.org)."""
    return is_terminal and not environment.get("NO_COLOR") and environment.get("TERM", "dumb") != "dumb"


def columns() -> int:
    """Return how many columns the terminal has, 100 where that is not known."""
    return shutil.get_terminal_size((100, 24)).columns


def style() -> "Style":
    """Return how to show text on stdout as it is now."""
    from pattress.report.text import Style

    return Style(
        width=max(NARROWEST, min(columns(), WIDEST)),
        has_colour=may_colour(os.environ, is_terminal=sys.stdout.isatty()),
    )


class TerminalProgress:
    """One line on stderr that counts, and is gone when the work is done. Silent where stderr is no terminal."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stderr
        self._is_shown = False

    def __call__(self, done: int, total: int) -> None:
        """Show how many devices are read."""
        if self._stream.isatty():
            self._stream.write(f"\r\x1b[KReading devices: {done} of {total}")
            self._stream.flush()
            self._is_shown = True

    def end(self) -> None:
        """Take the line away."""
        if self._is_shown:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
            self._is_shown = False
