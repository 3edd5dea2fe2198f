"""Options that the questions about circuits share, the tables and data sheets they name, and giving an answer.

What belongs here: what every question needs. What does not: the questions, which are in `commands/circuit*.py`.
"""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.output import ALL_MET, BROKEN, UNVERIFIED, give, give_json, leave, style
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from pattress.circuit.working import Answer
    from pattress.model.circuit import LoadKind
    from pattress.model.profile import DataSheet
    from pattress.model.tables import Tables

MaybeSite = Annotated[
    Path | None,
    typer.Option("--site", envvar="PATTRESS_SITE", help="A site whose tables.toml and profiles count as well."),
]
FamilyOption = Annotated[
    str | None, typer.Option("--family", help="nec or iec; as tables.toml says, else iec, if not given.")
]
Volts = Annotated[float, typer.Option("--voltage", help="Nominal voltage of the circuit, in volts.")]
IsDc = Annotated[bool, typer.Option("--dc", help="Direct current.")]
KindOption = Annotated[
    str,
    typer.Option(
        "--kind",
        help="resistive, incandescent, halogen, led-lamp, fluorescent, led-strip, motor, socket or electronic.",
    ),
]
Count = Annotated[int, typer.Option("--count", help="How many of them.")]
PowerFactor = Annotated[float | None, typer.Option("--power-factor", help="0.001 to 1; that of the kind if not given.")]
ModuleOption = Annotated[
    str | None, typer.Option("--module", help="A profile, whose data sheet fills in what is not given here.")
]
RatedAmperes = Annotated[float | None, typer.Option("--rated-a", help="Ampere rating of one channel, in amperes.")]
RatedWatts = Annotated[float | None, typer.Option("--rated-w", help="Watt rating of one channel, in watts.")]
Conductor = Annotated[str, typer.Option("--conductor", help='Size: "1.5 mm2", "14 AWG".')]
Celsius = Annotated[
    float | None,
    typer.Option("--temperature", help="Of the conductor, in °C; under full load if not given."),
]
ConstructionOption = Annotated[str, typer.Option("--construction", help="solid, stranded or flexible (fine wires).")]


def tables_for(site: Path | None, family: str | None) -> "Tables":
    """Return the tables that count: of a site, or the shipped ones; of a family, where one is named.

    Raises:
        CircuitError: If there is no such family.
        UsageError: If there is no site in the folder.
        SiteFileError: With every fault of the site's tables.
    """
    from pattress.circuit import given
    from pattress.site.tables_file import FAMILIES, read_tables

    chosen = None if family is None else given.one_of(family, "family", FAMILIES)
    _check_site(site)
    return read_tables(site, chosen)


def sheet_of(kind: str | None, site: Path | None) -> "DataSheet":
    """Return the data sheet of a profile, shipped or the site's own; an empty one where none is named.

    Raises:
        CircuitError: If there is no such profile, with the nearest.
        UsageError: If there is no site in the folder.
        SiteFileError: With every fault of the profiles.
    """
    from pattress.circuit import given
    from pattress.model.profile import DataSheet
    from pattress.site.load import load_profiles
    from pattress.site.places import PROFILES_FOLDER, shipped_profiles_folder

    _check_site(site)
    if kind is None:
        return DataSheet()
    folders = [shipped_profiles_folder(), *([site / PROFILES_FOLDER] if site is not None else [])]
    sheets = {profile.id: profile.data_sheet for profile in load_profiles(folders)}
    return sheets[given.one_of(kind, "module", sheets)]


def load_kind(word: str) -> "LoadKind":
    """Return the kind of load that a person wrote.

    Raises:
        CircuitError: If there is none, with the nearest.
    """
    from pattress.circuit import given
    from pattress.model.circuit import LOAD_KINDS

    return given.one_of(word, "kind of load", LOAD_KINDS)


def answer_with(answer: "Answer", tables: "Tables", *, json: bool) -> None:
    """Print an answer and leave with its status: 0 fits or a figure, 1 does not fit, 3 could not be decided."""
    from pattress.report.circuit import circuit_document, circuit_text

    if json:
        give_json(circuit_document(answer, tables))
    else:
        give(printable(circuit_text(answer, tables, style())))
    leave({"fits": ALL_MET, "figure": ALL_MET, "unfit": BROKEN, "undecided": UNVERIFIED}[answer.verdict])


def printable(text: str) -> str:
    """Return text with the signs that the terminal's encoding lacks as question marks: formulas have Greek letters."""
    encoding = sys.stdout.encoding or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)


def _check_site(site: Path | None) -> None:
    from pattress.site.places import SITE_FILE

    if site is not None and not (site / SITE_FILE).exists():
        raise UsageError(
            f"no site in {site}", where="--site", next_step="Name a folder with a site.toml, or leave --site out."
        )
