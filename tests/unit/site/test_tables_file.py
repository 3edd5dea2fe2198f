"""The shipped tables, and a site's own in their place."""

from dataclasses import replace
from pathlib import Path

import pytest

from pattress.model.circuit import LOAD_KINDS, Family
from pattress.model.errors import SiteFileError
from pattress.model.tables import FIGURES
from pattress.site.tables_file import DEFAULT_FAMILY, FAMILIES, read_tables, shipped_tables


@pytest.mark.parametrize("family", FAMILIES)
def test_a_shipped_family_is_whole_and_each_figure_names_its_source(family: Family) -> None:
    tables = shipped_tables(family)

    sources = [figure.source for figure in tables.figures.values()]
    for facts in tables.kinds.values():
        sources += [facts.power_factor.source, facts.inrush.source, facts.contact_share.source]
    for size in tables.sizes:
        sources += [figure.source for figure in (*size.ohm_per_km.values(), *size.capacity_a.values())]
        sources += [each.source for each in (size.breaker_a, size.box_cm3, size.mv_per_a_m) if each is not None]

    assert tables.family == family
    assert tables.figures.keys() == FIGURES.keys()
    assert set(tables.kinds) == set(LOAD_KINDS)
    assert tables.laying in tables.ways
    assert tables.edition
    assert all(sources)


@pytest.mark.parametrize("family", FAMILIES)
def test_thicker_conductors_resist_less_and_carry_more(family: Family) -> None:
    tables = shipped_tables(family)
    sizes = sorted(tables.sizes, key=lambda size: size.area_mm2)

    for construction in ("solid", "stranded", "flexible"):
        ohms = [size.ohm_per_km[construction].value for size in sizes if construction in size.ohm_per_km]
        assert ohms == sorted(ohms, reverse=True)
    for way in tables.ways:
        amperes = [size.capacity_a[way].value for size in sizes if way in size.capacity_a]
        assert amperes == sorted(amperes)
        assert len(amperes) > 3


def test_a_site_puts_its_own_figures_in_the_place_of_some(house: Path) -> None:
    shipped, tables = shipped_tables("iec"), read_tables(house)

    assert tables.laying == "C"
    assert tables.figure("drop_strip_share").value == 0.04
    assert tables.figure("drop_strip_share").source == "our own eyes"
    assert tables.kinds["led-lamp"].inrush.value == 40
    assert tables.kinds["led-lamp"].edges == ("trailing", "leading")
    assert tables.kinds["led-lamp"].power_factor == shipped.kinds["led-lamp"].power_factor
    sizes = {size.name: size for size in tables.sizes}
    assert sizes["1.5 mm²"].capacity_a["C"].value == 18
    assert sizes["1.5 mm²"].capacity_a["A1"].value == 14.5
    assert "our electrician" in sizes["1.5 mm²"].capacity_a["C"].source
    changed = {"laying", "figures", "kinds", "sizes"}
    assert replace(tables, **{name: getattr(shipped, name) for name in changed}) == shipped


def test_the_shipped_tables_stay_as_they_are(house: Path) -> None:
    before = shipped_tables("iec").value("drop_strip_share")

    read_tables(house)

    assert shipped_tables("iec").value("drop_strip_share") == before == 0.05


def test_a_site_without_tables_has_the_shipped_ones(tmp_path: Path) -> None:
    assert read_tables(tmp_path) == shipped_tables(DEFAULT_FAMILY)
    assert read_tables(None, "nec") == shipped_tables("nec")
    assert read_tables(tmp_path, "nec") == shipped_tables("nec")


def test_every_fault_of_the_file_is_told_together(tmp_path: Path) -> None:
    (tmp_path / "tables.toml").write_text(
        'family = "nec"\n[figure]\nclass2_va = { value = 0, source = "x" }\nclass2 = 4\n', encoding="utf-8"
    )

    with pytest.raises(SiteFileError) as caught:
        read_tables(tmp_path)

    assert [fault.line for fault in caught.value.faults] == [3, 4]


def test_a_file_that_is_no_toml_is_a_fault_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "tables.toml").write_text('family = "nec"\nfigure\n', encoding="utf-8")

    with pytest.raises(SiteFileError) as caught:
        read_tables(tmp_path)

    assert caught.value.faults[0].line == 2
