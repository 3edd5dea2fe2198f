"""`pattress close-in` as a command; what it does at a box is in `tests/closein`."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pattress.cli.app import application
from pattress.cli.commands import close_in
from pattress.cli.output import give
from pattress.model.closein import CloseIn
from pattress.site.starter import write_starter
from unit.report.certificates import UNFINISHED

POINT = '[[point]]\nname = "hall-lights"\nroom = "Hall"\nkind = "tarnhollow-brace"\n'


async def _talked(*_: object) -> list[CloseIn]:
    give("CAUTION: Hot.")
    return [UNFINISHED.check]


@pytest.mark.parametrize("as_json", [True, False])
def test_the_document_stands_alone_on_stdout_and_the_talk_beside_it(
    as_json: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(close_in, "_checked", _talked)
    write_starter(tmp_path)
    (tmp_path / "points.toml").write_text(POINT, encoding="utf-8")
    words = ["close-in", "hall-lights", "--who", "A. Fitter", "--site", str(tmp_path), *(["--json"] if as_json else [])]

    ended = CliRunner().invoke(application, words, catch_exceptions=False)

    if as_json:
        assert json.loads(ended.stdout)["schema"] == "pattress.close-in/1"
    assert "CAUTION" in (ended.stderr if as_json else ended.stdout)
    assert ended.exit_code == 1
