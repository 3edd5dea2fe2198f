"""Where the files of a site and the shipped ones are.

What belongs here: folders and file names. What does not: what the files hold.
"""

from pathlib import Path

SITE_FILE = "site.toml"
POINTS_FILE = "points.toml"
WAIVERS_FILE = "waivers.toml"
TABLES_FILE = "tables.toml"
PROFILES_FOLDER = "profiles"
A_POLICY = "the id of a shipped policy, or the name of a policy file ending in .toml"
"""What a person may name a policy by, in the words of faults."""

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_profiles_folder() -> Path:
    """Return the folder of the device profiles that come with the program."""
    return _PACKAGE / "profiles"


def shipped_tables_folder() -> Path:
    """Return the folder of the tables for questions about circuits that come with the program."""
    return _PACKAGE / "circuit_tables"


def shipped_policies_folder() -> Path:
    """Return the folder of the policies that come with the program: the package's own, or that of a source checkout."""
    installed = _PACKAGE / "policies"
    return installed if installed.is_dir() else _PACKAGE.parent.parent / "policies"


def shipped_policy_names() -> tuple[str, ...]:
    """Return the names of the shipped policies in order."""
    return tuple(sorted(path.stem for path in shipped_policies_folder().glob("*.toml")))


def is_policy_file(name: str) -> bool:
    """Whether a policy is named by its file, not by the id of a shipped one."""
    return name.endswith(".toml") or "/" in name


def policy_path(name: str, folder: Path) -> Path:
    """Return where a policy is: a file relative to `folder`, or a shipped one by its id."""
    return folder / name if is_policy_file(name) else shipped_policies_folder() / f"{name}.toml"


def profile_paths(folder: Path) -> tuple[Path, ...]:
    """Return the profile files in a folder in order; none where there is no such folder."""
    return tuple(sorted(path for path in folder.glob("*.toml") if not path.name.startswith(".")))


def shown_name(path: Path, folder: Path) -> str:
    """Return how a file is named in faults: relative to the site's folder, or to the package where it is shipped."""
    for base, prefix in ((folder, ""), (_PACKAGE, "pattress/"), (shipped_policies_folder().parent, "")):
        if path.is_relative_to(base):
            return prefix + path.relative_to(base).as_posix()
    return str(path)
