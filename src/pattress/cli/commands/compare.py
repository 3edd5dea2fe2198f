"""`pattress compare`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load, moment, run, store_path
from pattress.cli.output import give, give_json

if TYPE_CHECKING:
    from pattress.audit.compare import Side

SideWords = Annotated[str, typer.Argument(metavar="DEVICE[@WHEN]", help="As in hall-lights or hall-lights@2026-11-01.")]


def compare(
    first: SideWords,
    second: SideWords,
    everything: Annotated[bool, typer.Option("--all", help="Also the settings that are the same.")] = False,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Put two devices of one kind, or two moments of one device, side by side.

    Example: pattress compare hall-lights@2026-11-01 hall-lights --site ~/house
    """
    from pattress.audit.compare import compare as compare_sides
    from pattress.report.devices import comparison_text
    from pattress.report.document import comparison_document

    loaded = load(site)
    result = run(compare_sides(loaded, store_path(loaded), _side(first), _side(second)))
    if json:
        give_json(comparison_document(result.titles, result.rows))
    else:
        give(comparison_text(result.titles, result.rows, shows_all=everything))


def _side(words: str) -> "Side":
    from pattress.audit.compare import Side

    device, _, when = words.rpartition("@")
    at = moment(when, where="pattress compare") if device else None
    return Side(words=device or words, at=at)
