"""One mistake in one file of a right site, beside the exact message that it must produce.

The cases are data: `broken/*.toml` say which text of which file of `house/` is replaced by what.
"""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.site.load import load_site

TODAY = date(2026, 11, 25)
BUILT_IN = {"duplicate-identity": "fault"}
FILES = {
    "site": "site.toml",
    "watch": "site.toml",
    "points": "points.toml",
    "circuit": "points.toml",
    "waivers": "waivers.toml",
    "policy": "policy.toml",
    "profile": "profiles/quill-duo.toml",
    "tables": "tables.toml",
}


def cases() -> list[object]:
    found = []
    for kind, file in FILES.items():
        data = tomllib.loads((Path(__file__).parent / "broken" / f"{kind}.toml").read_text(encoding="utf-8"))
        for number, case in enumerate(data["case"], start=1):
            found.append(pytest.param(file, case, id=f"{kind}-{number}"))
    return found


@pytest.mark.parametrize(("file", "case"), cases())
def test_one_mistake_gives_exactly_one_fault(house: Path, file: str, case: dict[str, str]) -> None:
    text = (house / file).read_text(encoding="utf-8")
    assert text.count(case["replace"]) == 1, "the case must break one place"
    (house / file).write_text(text.replace(case["replace"], case["by"]), encoding="utf-8")

    with pytest.raises(SiteFileError) as raised:
        load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    assert [str(fault) for fault in raised.value.faults] == [case["message"]]
