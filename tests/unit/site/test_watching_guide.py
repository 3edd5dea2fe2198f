"""The examples of the guide to watching."""

import re
import shutil
from datetime import date
from pathlib import Path
from typing import get_args

from pattress.model.encounter import EncounterKind
from pattress.model.watching import WatchKind
from pattress.site.load import load_site
from pattress.site.shapes import keys_of
from pattress.site.starter import write_starter
from pattress.site.watch_shapes import AllowanceShape, SourceShape, WatchShape

GUIDE = (Path(__file__).parents[3] / "docs" / "watching.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)


def test_the_examples_together_are_a_site_without_fault(tmp_path: Path) -> None:
    write_starter(tmp_path)
    shutil.move(tmp_path / "profiles/example.toml.txt", tmp_path / "profiles/example.toml")
    (tmp_path / "example.mud.json").write_text("{}", encoding="utf-8")
    point = '[[point]]\nname = "hall-lights"\nroom = "Hall"\nkind = "example-relay"\n'
    (tmp_path / "points.toml").write_text(point, encoding="utf-8")
    with (tmp_path / "site.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n".join(EXAMPLES))

    watching = load_site(tmp_path, today=date(2026, 11, 25)).watching

    assert [source.kind for source in watching.sources] == list(get_args(WatchKind))
    assert [allowance.protocol for allowance in watching.allowances] == [17, None]
    assert len(watching.mud_files) == 1


def test_every_word_and_every_key_is_explained() -> None:
    for word in (*get_args(EncounterKind), *get_args(WatchKind)):
        assert f"| `{word}`" in GUIDE
    for shape in (WatchShape, SourceShape, AllowanceShape):
        for key in keys_of(shape):
            assert re.search(rf"\b{key}\b", GUIDE), key
