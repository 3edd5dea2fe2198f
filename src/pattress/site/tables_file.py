"""`tables.toml` and the shipped tables into `Tables`: the figures that questions about a circuit rest on.

A site's file has the form of the shipped ones and names only what it sees otherwise, each with its own source.
What belongs here: reading and checking. What does not: what a figure is used for.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, get_args

from pattress.circuit.box_fill import CM3_PER_IN3
from pattress.circuit.conductors import awg_area_m2
from pattress.model.circuit import LOAD_KINDS, Family, LoadKind
from pattress.model.errors import SiteFileError
from pattress.model.tables import (
    CONSTRUCTIONS,
    FIGURES,
    ConductorSize,
    Construction,
    Figure,
    FigureDefinition,
    KindFacts,
    Tables,
)
from pattress.site.files import TomlFile, read_toml
from pattress.site.lines import KeyPath
from pattress.site.names import nearest
from pattress.site.places import TABLES_FILE, shipped_tables_folder
from pattress.site.shapes import Table
from pattress.site.tables_shapes import (
    KIND_BOUNDS,
    LARGEST,
    FamilyShape,
    FigureShape,
    KindShape,
    SiteTablesShape,
    SizeShape,
)
from pattress.site.words import said

FAMILIES: tuple[Family, ...] = get_args(Family)
DEFAULT_FAMILY: Family = "iec"
_KM_PER_KFT = 0.3048
AnyName = TypeVar("AnyName", bound=str)


def shipped_tables(family: Family) -> Tables:
    """Return the shipped tables of a code family.

    Raises:
        SiteFileError: If a shipped file is wrong.
    """
    draft, files = _shipped(family)
    faults = [fault for file in files for fault in file.faults]
    if faults:
        raise SiteFileError(faults)
    return draft


def tables_of(file: TomlFile, family: Family | None = None) -> Tables:
    """Return the tables of a site: the shipped ones of its family, with what its file says in their place.

    `family` counts before the file's own; with neither it is `DEFAULT_FAMILY`. Where the file has faults, which are
    noted in it, what it says wrongly is left out.
    """
    shape = file.checked(SiteTablesShape, (), file.data) if file.is_readable else None
    tables = shipped_tables(family or (shape.family if shape else None) or DEFAULT_FAMILY)
    if not file.is_readable:
        return tables
    draft = _Draft.of(tables)
    if shape is not None and shape.laying is not None:
        if shape.laying in tables.ways:
            draft.laying = shape.laying
        else:
            expected = "one of " + ", ".join(tables.ways)
            close = nearest(shape.laying, tables.ways)
            file.fault(("laying",), found=said(shape.laying), expected=expected, nearest=close)
    _take_all(file, draft)
    return draft.tables()


def read_tables(folder: Path | None, family: Family | None = None) -> Tables:
    """Return the tables of the site in a folder, or the shipped ones where it has no file of its own, or is None.

    Raises:
        SiteFileError: With every fault of the file.
    """
    if folder is None or not (folder / TABLES_FILE).exists():
        return shipped_tables(family or DEFAULT_FAMILY)
    file = read_toml(folder / TABLES_FILE, TABLES_FILE)
    tables = tables_of(file, family)
    if file.faults:
        raise SiteFileError(sorted(file.faults, key=lambda fault: fault.line or 0))
    return tables


@dataclass(slots=True, kw_only=True)
class _Draft:
    """Tables while files are laid over one another."""

    family: Family = DEFAULT_FAMILY
    title: str = ""
    edition: str = ""
    resistance_c: float = 20.0
    laying: str = ""
    ways: dict[str, str] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    sizes: dict[str, ConductorSize] = field(default_factory=dict)
    figures: dict[str, Figure] = field(default_factory=dict)
    kinds: dict[LoadKind, KindFacts] = field(default_factory=dict)
    is_shipped: bool = True

    @classmethod
    def of(cls, tables: Tables) -> "_Draft":
        return cls(
            family=tables.family,
            title=tables.title,
            edition=tables.edition,
            resistance_c=tables.resistance_c,
            laying=tables.laying,
            ways=dict(tables.ways),
            sizes={size.name: size for size in tables.sizes},
            figures=dict(tables.figures),
            kinds=dict(tables.kinds),
            is_shipped=False,
        )

    def tables(self) -> Tables:
        return Tables(
            family=self.family,
            title=self.title,
            edition=self.edition,
            resistance_c=self.resistance_c,
            laying=self.laying,
            ways=self.ways,
            sizes=tuple(self.sizes.values()),
            figures=self.figures,
            kinds=self.kinds,
        )


@cache
def _shipped(family: Family) -> tuple[Tables, tuple[TomlFile, ...]]:
    folder = shipped_tables_folder()
    practice = read_toml(folder / "practice.toml", "practice.toml")
    own = read_toml(folder / f"{family}.toml", f"{family}.toml")
    draft = _Draft()
    practice.checked(SiteTablesShape, (), practice.data)
    _take_all(practice, draft)
    top = own.checked(FamilyShape, (), own.data)
    if top is not None:
        draft.family, draft.title, draft.edition = family, top.title, top.edition
        draft.resistance_c, draft.laying = top.resistance_c, top.laying or ""
        draft.ways, draft.sources = dict(top.ways), dict(top.sources)
    _take_all(own, draft)
    for name in FIGURES:
        if name not in draft.figures:
            own.fault(("figure", name), found="nothing", expected="a figure")
    for kind in LOAD_KINDS:
        if kind not in draft.kinds:
            practice.fault(("kind", kind), found="nothing", expected="a kind")
    return draft.tables(), (practice, own)


def _take_all(file: TomlFile, draft: _Draft) -> None:
    _take_figures(file, draft)
    _take_kinds(file, draft)
    for path, table in file.tables("size"):
        _take_size(file, draft, path, table)


def _take_figures(file: TomlFile, draft: _Draft) -> None:
    for name, path, table in _entries(file, "figure", tuple(FIGURES), "the name of a figure"):
        taken = _figure(file, path, table, FIGURES[name])
        if taken is not None:
            draft.figures[name] = taken


def _take_kinds(file: TomlFile, draft: _Draft) -> None:
    for kind, path, table in _entries(file, "kind", LOAD_KINDS, "a kind of load"):
        shape = file.checked(KindShape, path, table)
        if shape is None:
            continue
        taken: dict[str, Any] = {} if shape.edges is None else {"edges": tuple(shape.edges)}
        for key, bounds in KIND_BOUNDS.items():
            if key in table:
                figure = _figure(file, (*path, key), table[key], bounds)
                if figure is not None:
                    taken[key] = figure
        facts = draft.kinds.get(kind)
        if facts is not None:
            draft.kinds[kind] = replace(facts, **taken)
        elif {"power_factor", "inrush", "contact_share"} <= taken.keys():
            draft.kinds[kind] = KindFacts(**taken)


def _take_size(file: TomlFile, draft: _Draft, path: KeyPath, table: Table) -> None:
    shape = file.checked(SizeShape, path, table)
    if shape is None:
        return
    name = shape.name.replace("mm2", "mm²")  # as a keyboard has it, and as it is printed
    size = draft.sizes.get(name)
    if draft.is_shipped:
        size = ConductorSize(name=name, area_mm2=_area_mm2(shape), awg=shape.awg, ohm_per_km={}, capacity_a={})
    elif size is None:
        close = nearest(name, draft.sizes)
        expected = "one of " + ", ".join(draft.sizes)
        file.fault((*path, "name"), found=said(shape.name), expected=expected, nearest=close)
        return
    elif shape.source is None:
        file.fault((*path, "source"), found="nothing", expected="where these figures stand, or whose they are")
        return
    for key in ("awg", "area_mm2") if not draft.is_shipped else ():
        if key in table:
            file.fault((*path, key), found=said(table[key]), expected="no other area for a size of the family")
    if not _are_positive(file, path, shape):
        return
    for way in shape.capacity_a:
        if way not in draft.ways:
            expected = "one of " + ", ".join(draft.ways)
            close = nearest(way, draft.ways)
            file.fault((*path, "capacity_a", way), found=said(way), expected=expected, nearest=close)
            return
    draft.sizes[name] = _sized(size, shape, draft)


def _sized(size: ConductorSize, shape: SizeShape, draft: _Draft) -> ConductorSize:
    def cited(value: float, column: str) -> Figure:
        return Figure(value=value, source=shape.source or draft.sources.get(column, ""))

    ohm: dict[Construction, Figure] = dict(size.ohm_per_km)
    for construction in CONSTRUCTIONS:
        if construction in shape.ohm_per_km:
            ohm[construction] = cited(shape.ohm_per_km[construction], "ohm")
        elif construction in shape.ohm_per_kft:
            ohm[construction] = cited(shape.ohm_per_kft[construction] / _KM_PER_KFT, "ohm")
    capacity = {**size.capacity_a, **{way: cited(value, "capacity_a") for way, value in shape.capacity_a.items()}}
    box = shape.box_cm3 if shape.box_in3 is None else shape.box_in3 * CM3_PER_IN3
    return replace(
        size,
        ohm_per_km=ohm,
        capacity_a=capacity,
        breaker_a=size.breaker_a if shape.breaker_a is None else cited(shape.breaker_a, "breaker_a"),
        box_cm3=size.box_cm3 if box is None else cited(box, "box"),
        mv_per_a_m=size.mv_per_a_m if shape.mv_per_a_m is None else cited(shape.mv_per_a_m, "mv_per_a_m"),
    )


def _are_positive(file: TomlFile, path: KeyPath, shape: SizeShape) -> bool:
    """Note each number that is not above nought, or is out of all proportion; whether there was none."""
    numbers: list[tuple[KeyPath, float | None]] = [
        ((key,), getattr(shape, key)) for key in ("breaker_a", "box_cm3", "box_in3", "mv_per_a_m")
    ]
    for table in ("ohm_per_km", "ohm_per_kft", "capacity_a"):
        numbers += [((table, column), value) for column, value in getattr(shape, table).items()]
    wrong = [(at, value) for at, value in numbers if value is not None and not 0 < value <= LARGEST]
    for at, value in wrong:
        file.fault((*path, *at), found=said(value), expected=f"a number above 0, at most {LARGEST}")
    return not wrong


def _entries(
    file: TomlFile, key: str, names: tuple[AnyName, ...], expected: str
) -> Iterator[tuple[AnyName, KeyPath, Table]]:
    """Yield the tables below a key by name, noting those that have none of the names or are no tables."""
    known = {str(name): name for name in names}
    found = file.table(key)
    for name, table in (found[1] if found else {}).items():
        if name not in known:
            file.fault((key, name), found=said(name), expected=expected, nearest=nearest(name, names))
        elif not isinstance(table, dict):
            file.fault((key, name), found=said(table), expected="a table with value and source")
        else:
            yield known[name], (key, name), table


def _figure(file: TomlFile, path: KeyPath, table: object, bounds: FigureDefinition) -> Figure | None:
    shape = file.checked(FigureShape, path, table)
    if shape is None or not isinstance(table, dict):
        return None
    if not bounds.least <= shape.value <= bounds.most:
        unit = "" if bounds.unit == "1" else f" {bounds.unit}"
        expected = f"a number from {bounds.least:g} to {bounds.most:g}{unit}: {bounds.meaning}"
        file.fault((*path, "value"), found=said(table["value"]), expected=expected)
        return None
    return Figure(value=shape.value, source=shape.source)


def _area_mm2(shape: SizeShape) -> float:
    if shape.area_mm2 is not None:
        return shape.area_mm2
    return awg_area_m2(shape.awg if shape.awg is not None else 0) * 1e6
