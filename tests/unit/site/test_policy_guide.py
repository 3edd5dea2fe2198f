"""The examples and figures of the guide to policies."""

import re
from pathlib import Path

import pytest

from pattress.model.rules import COMPARISONS
from pattress.site.load import load_policy
from pattress.site.places import shipped_policy_names

GUIDE = (Path(__file__).parents[3] / "docs" / "policies.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)


@pytest.mark.parametrize("number", range(len(EXAMPLES)))
def test_every_example_is_a_policy_without_fault(number: int, tmp_path: Path) -> None:
    (tmp_path / "example.toml").write_text(EXAMPLES[number], encoding="utf-8")

    policy = load_policy("example.toml", tmp_path)

    assert policy.rules


def test_the_guide_has_examples_of_rules_limits_overrides_and_what_is_beyond() -> None:
    assert len(EXAMPLES) == 4


@pytest.mark.parametrize("name", shipped_policy_names())
def test_every_shipped_policy_is_told_with_its_number_of_rules(name: str, tmp_path: Path) -> None:
    policy = load_policy(name, tmp_path)

    row = next(line for line in GUIDE.splitlines() if line.startswith(f"| `{name}` |"))
    assert re.search(rf"\b{len(policy.rules)} rules\b", row)


@pytest.mark.parametrize("comparison", [*COMPARISONS, "plan", "data_sheet"])
def test_every_comparison_is_explained(comparison: str) -> None:
    table = GUIDE[GUIDE.index("## Comparisons") : GUIDE.index("## Including")]

    assert re.search(rf"^\|.*`[^`]*\b{comparison} = ", table, re.MULTILINE)
