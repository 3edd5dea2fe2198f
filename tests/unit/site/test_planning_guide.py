"""The examples of the guide to planning."""

import re
import shutil
from datetime import date
from pathlib import Path
from typing import get_args

from pattress.model.circuit import LOAD_KINDS, SEPARATIONS, Hazard
from pattress.site.circuit_shapes import BoxShape, CircuitShape, ConductorsShape, DriveShape, LoadShape
from pattress.site.data_sheet import DataSheetShape
from pattress.site.load import load_site
from pattress.site.shapes import keys_of
from pattress.site.starter import write_starter

DOCS = Path(__file__).parents[3] / "docs"
GUIDE = (DOCS / "planning.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)


def test_the_example_is_a_point_without_fault(tmp_path: Path) -> None:
    write_starter(tmp_path)
    shutil.move(tmp_path / "profiles/example.toml.txt", tmp_path / "profiles/example.toml")
    point = '[[point]]\nname = "hall-lights"\nroom = "Hall"\nkind = "example-relay"\n'
    (tmp_path / "points.toml").write_text(point + "\n".join(EXAMPLES), encoding="utf-8")

    (planned,) = load_site(tmp_path, today=date(2026, 11, 25)).plan.points

    assert planned.circuit is not None
    assert [load.total_w for load in planned.circuit.loads] == [54]
    assert planned.circuit.box is not None
    assert len(planned.drives) == 1


def test_every_word_and_every_key_is_explained() -> None:
    for word in (*LOAD_KINDS, *SEPARATIONS, *get_args(Hazard)):
        assert f"`{word}`" in GUIDE
    for shape in (CircuitShape, LoadShape, BoxShape, ConductorsShape, DriveShape):
        for key in keys_of(shape):
            assert re.search(rf"`{key}`", GUIDE), key


def test_every_key_of_a_data_sheet_is_explained() -> None:
    guide = (DOCS / "profiles.md").read_text(encoding="utf-8")

    assert [key for key in keys_of(DataSheetShape) if f"`{key}`" not in guide] == []
