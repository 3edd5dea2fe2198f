"""`pattress init` and `pattress check`: the files of a site."""

from pathlib import Path
from typing import Annotated

import typer

from pattress.cli.options import AsJson, SiteFolder, load
from pattress.cli.output import ALL_MET, WRONG, give, give_json, leave, tell
from pattress.model.errors import SiteFileError


def init(
    folder: Annotated[Path, typer.Argument(help="Folder to write into; it may exist, but hold no site yet.")] = Path(),
) -> None:
    """Write a commented starter site into a folder. Nothing that is there is overwritten.

    Example: pattress init ~/house
    """
    from pattress.site.starter import write_starter

    for path in write_starter(folder):
        give(str(path))
    tell("Next: put your networks into site.toml, then run `pattress discover`.")


def check(site: SiteFolder = Path(), json: AsJson = False) -> None:
    """Validate every file of the site, report all faults together, and exit.

    Example: pattress check --site ~/house
    """
    try:
        loaded = load(site)
    except SiteFileError as error:
        if not json:
            raise
        from pattress.report.document import faults_document

        give_json(faults_document(None, error.faults))
        leave(WRONG)
    if json:
        from pattress.report.document import faults_document

        give_json(faults_document(loaded.name, ()))
        leave(ALL_MET)
    from pattress.report.text import counted

    give(
        f"{loaded.name}: {counted(len(loaded.plan.points), 'point')}, {counted(len(loaded.profiles), 'profile')}, "
        f"{counted(len(loaded.policy.rules), 'rule')} of {loaded.policy.id}, {counted(len(loaded.waivers), 'waiver')}. "
        "No fault found."
    )
