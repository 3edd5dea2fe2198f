"""How help is shown: within the terminal, and no command's sentence cut off.

What belongs here: the look of help. What does not: its words, which stand at each command.
"""

from typing import Any

import typer
from typer.core import TyperGroup

from pattress.cli.output import NARROWEST, columns

WIDEST_HELP = 80  # columns, as the library has it; its narrowest, 50, is more than a phone held upright has
WHOLE = 1000  # characters of a sentence about a command: more than any has


def help_width() -> int:
    """Return the columns that help may take, two of them left free."""
    return max(NARROWEST, min(columns(), WIDEST_HELP)) - 2


class Commands(TyperGroup):
    """A group of commands whose list says of each the whole first sentence of its help."""

    def format_commands(self, ctx: typer.Context, formatter: Any) -> None:  # type: ignore[override]
        """Write the list of commands."""
        named = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        rows = [(name, command.get_short_help_str(WHOLE)) for name, command in named if command is not None]
        with formatter.section("Commands"):
            formatter.write_dl(rows)
