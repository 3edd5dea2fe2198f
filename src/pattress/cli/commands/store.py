"""`pattress store`: the database itself."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load, now, run, store_path
from pattress.cli.output import WRONG, give, give_json, leave, tell

store = typer.Typer(
    help="Look through the database of a site, copy it, thin it, or export everything in it.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@store.command("check")
def check(site: SiteFolder = Path(), json: AsJson = False) -> None:
    """Look through the whole database for damage; show its size and what is in it. Changes nothing.

    Exit status 2 where it is damaged. Example: pattress store check --site ~/house
    """
    from pattress.report.database import examination_document, examination_text
    from pattress.store.examine import examine

    path = store_path(load(site))
    found = examine(path)
    if json:
        give_json(examination_document(found, str(path)))
    else:
        give(examination_text(found, str(path)))
    if not found.is_sound:
        leave(WRONG)


@store.command("backup")
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The copy; it must not be there yet.")],
    site: SiteFolder = Path(),
) -> None:
    """Copy the database to a new file, even while an audit runs, and verify the copy.

    Example: pattress store backup /media/stick/house-2026-03.db --site ~/house
    """
    from pattress.store.backup import back_up

    size_bytes = back_up(store_path(load(site)), file)
    tell(f"{file}: {size_bytes / 1e6:.1f} MB, verified. To go back to it, put it in the database's place.")


@store.command("compact")
def compact(site: SiteFolder = Path()) -> None:
    """Thin out readings that have aged, and give unused space back to the disk.

    Needs free space of about twice the database; refuses where there is less. Example: pattress store compact --site ~/house
    """
    done = run(_compact(store_path(load(site))))
    tell(
        f"{done.thinned_count} readings were thinned out; the database has {done.bytes_after / 1e6:.1f} MB,"
        f" and had {done.bytes_before / 1e6:.1f}."
    )


@store.command("export")
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file, which must not be there yet; - is stdout.")],
    site: SiteFolder = Path(),
) -> None:
    """Write everything that is kept as JSON Lines: one object for each row, which says what it is.

    Example: pattress store export house.jsonl --site ~/house
    """
    from pattress.store.export import export as export_all
    from pattress.store.files import new_file

    path = store_path(load(site))
    if str(file) == "-":
        export_all(path, sys.stdout.write, now())
        sys.stdout.flush()
        return
    with new_file(file) as part, part.open("w", encoding="ascii") as lines:
        count = export_all(path, lines.write, now())
    tell(f"{file}: {count} rows.")
