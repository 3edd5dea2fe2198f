"""Options that several commands share, and the site they name."""

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

if TYPE_CHECKING:
    from collections.abc import Coroutine

    from pattress.model.plan import Point
    from pattress.model.site import Site

Result = TypeVar("Result")
SiteFolder = Annotated[
    Path,
    typer.Option("--site", envvar="PATTRESS_SITE", help="The site's folder; the current one if not given."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]
ListenSeconds = Annotated[
    float | None,
    typer.Option("--listen", min=0.1, max=600, help="Seconds to listen for devices; as site.toml says if not given."),
]
DeviceWords = Annotated[
    str, typer.Argument(metavar="DEVICE", help="A point, a MAC, a serial, an announced name or an address.")
]


def run(work: "Coroutine[object, object, Result]") -> Result:
    """Run the asynchronous part of a command to its end. The event loop is imported only here: help needs none."""
    import asyncio

    return asyncio.run(work)


def now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def moment(text: str, *, where: str) -> datetime:
    """Return the moment that a person wrote: ISO 8601, in the local time zone where it names none.

    A date alone is the beginning of that day.

    Raises:
        UsageError: If it is none.
    """
    from pattress.model.errors import UsageError

    try:
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError) as error:
        raise UsageError(
            f"{text!r} is no date or date and time",
            where=where,
            next_step="Write it like 2026-03-01 or 2026-03-01T07:30, and with +02:00 where the time is not local.",
        ) from error


def load(folder: Path, waivers_file: Path | None = None) -> "Site":
    """Return the site in a folder, or the site as it would be with the waivers of another file.

    Raises:
        SiteFileError: With every fault of every file.
    """
    from pattress.policy.builtin import BUILTIN_RULES
    from pattress.site.load import load_site

    credentials = os.environ.get("CREDENTIALS_DIRECTORY")
    site = load_site(
        folder,
        today=now().astimezone().date(),
        builtin_rules={rule.id: rule.severity for rule in BUILTIN_RULES},
        credentials_folder=Path(credentials) if credentials else None,
        waivers_file=waivers_file,
    )
    _check_mud_files(site)
    return site


def _check_mud_files(site: "Site") -> None:
    """Raise every fault of the files that say what kinds of devices may do; such a file would allow nothing."""
    if not site.watching.mud_files:
        return
    from pattress.egress.mud import mud_profile
    from pattress.model.errors import SiteFileError

    faults = [fault for file in site.watching.mud_files for fault in mud_profile(file).faults]
    if faults:
        raise SiteFileError(faults)


def point_named(site: "Site", name: str, *, where: str) -> "Point":
    """Return the point of the plan that a person named.

    Raises:
        UsageError: If there is none, with the nearest.
    """
    from difflib import get_close_matches

    from pattress.model.errors import UsageError

    names = {point.name: point for point in site.plan.points}
    if name in names:
        return names[name]
    near = get_close_matches(name, names, n=1)
    raise UsageError(
        f"there is no point {name!r}",
        where=where,
        next_step=f"Did you mean {near[0]}?" if near else "Points are in points.toml.",
    )


def store_path(site: "Site") -> Path:
    """Return where the site's database is."""
    return site.folder / site.store_file
