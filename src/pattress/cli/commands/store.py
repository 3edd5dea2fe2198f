"""`pattress store`: the database itself."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.help_text import Commands
from pattress.cli.options import AsJson, SiteFolder, load, now, run, store_path
from pattress.cli.output import WRONG, give, give_json, leave, tell

if TYPE_CHECKING:
    from pattress.model.kept import Compaction

store = typer.Typer(
    cls=Commands,
    help="Look through the database of a site, copy it, thin it, or export everything in it.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@store.command("check")
def check(site: SiteFolder = Path(), json: AsJson = False) -> None:
    """Look for damage; show what is in it.

    All of it is looked through, and nothing changed. The exit status is 2 where it is damaged.

    Example: pattress store check --site ~/house
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
    """Copy the database to a new file.

    It may be in use meanwhile. The copy is verified before it gets its name.

    Example: pattress store backup /media/stick/house-2026-03.db --site ~/house
    """
    from pattress.store.backup import back_up

    path = store_path(load(site))
    size_bytes = back_up(path, file)
    tell(f"{file}: {size_bytes / 1e6:.1f} MB, verified.")
    tell(f"To go back to it, delete {path}, {path.name}-wal and {path.name}-shm while nothing runs, and put it there.")


@store.command("compact")
def compact(site: SiteFolder = Path()) -> None:
    """Thin old readings, and give unused space back.

    Needs free space of about twice the database, and refuses where there is less.

    Example: pattress store compact --site ~/house
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
    """Write everything that is kept as JSON Lines.

    Each line is an object that says what it is; the first names the schema, the last counts the lines.

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


async def _compact(path: Path) -> "Compaction":
    from pattress.store.refusals import missing
    from pattress.store.store import Store

    if not path.exists():  # noqa: ASYNC240 - one look at a local file, before anything waits
        raise missing(path)
    async with Store.open(path) as opened:
        return await opened.compact(now())
