"""A site to start from: commented files in a new folder.

What belongs here: which files are written, and that nothing is ever overwritten. Their text is in `starter_files`.
"""

from pathlib import Path

from pattress.model.errors import UsageError
from pattress.site.places import POINTS_FILE, PROFILES_FOLDER, SITE_FILE, WAIVERS_FILE

SECRETS_FOLDER = "secrets"
EXAMPLE_PROFILE = "example.toml.txt"

_TEXTS = Path(__file__).resolve().parent / "starter_files"


def write_starter(folder: Path) -> list[Path]:
    """Write a site to start from into `folder`, made where it is missing, and return the files and folders written.

    A file that is there already is left as it is. The folder for secrets is open to its owner only.

    Raises:
        UsageError: If the folder holds a site already, or cannot be written to.
    """
    site_file = folder / SITE_FILE
    if site_file.exists() or site_file.is_symlink():
        raise UsageError(
            "there is a site here already",
            where=str(site_file),
            next_step="Edit its files, or name another folder for a new site.",
        )
    try:
        return _written(folder)
    except OSError as error:
        raise UsageError(
            f"a site cannot be written here ({(error.strerror or 'no reason given').lower()})",
            where=str(error.filename or folder),
            next_step="Name a folder that you may write to.",
        ) from error


def _written(folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for path, mode in ((folder / PROFILES_FOLDER, 0o777), (folder / SECRETS_FOLDER, 0o700)):
        if not path.is_dir():
            path.mkdir(mode=mode)
            written.append(path)
    # The site file comes last: a folder that was left half written is not taken for a site.
    for path in (
        folder / PROFILES_FOLDER / EXAMPLE_PROFILE,
        folder / WAIVERS_FILE,
        folder / POINTS_FILE,
        folder / SITE_FILE,
    ):
        try:
            with path.open("x", encoding="utf-8") as stream:
                stream.write((_TEXTS / path.name).read_text(encoding="utf-8"))
        except FileExistsError:
            continue
        written.append(path)
    return sorted(written)
