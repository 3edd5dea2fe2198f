"""Policies that include others: files, their order, and what leads nowhere or back."""

from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.model.rules import Policy
from pattress.site.load import load_policy
from pattress.site.policy_parts import MAX_POLICY_FILES, read_policy_parts

RULE = """
[[rule]]
id = "{id}"
title = "t"
severity = "fault"
because = "b"
fix = "f"
require."mqtt.enabled" = true
"""
OVERRIDE = """
[[override]]
rule = "{rule}"
fix = "{fix}"
"""


def write(
    folder: Path, name: str, *, include: tuple[str, ...] = (), rules: tuple[str, ...] = (), text: str = ""
) -> None:
    head = f'id = "{Path(name).stem}"\ntitle = "t"\ninclude = {list(include)!r}\n'
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(head + "".join(RULE.format(id=rule) for rule in rules) + text, encoding="utf-8")


def faults(folder: Path) -> list[str]:
    with pytest.raises(SiteFileError) as raised:
        load_policy("a.toml", folder)
    return [str(fault) for fault in raised.value.faults]


def policy(folder: Path) -> Policy:
    return load_policy("a.toml", folder)


def test_what_is_included_comes_first_and_each_file_once(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml", "c.toml"), rules=("of-a",))
    write(tmp_path, "b.toml", include=("d.toml",), rules=("of-b",))
    write(tmp_path, "c.toml", include=("d.toml",), rules=("of-c",))
    write(tmp_path, "d.toml", rules=("of-d",))

    loaded = policy(tmp_path)

    assert [rule.id for rule in loaded.rules] == ["of-d", "of-b", "of-c", "of-a"]
    assert [rule.file for rule in loaded.rules] == ["d.toml", "b.toml", "c.toml", "a.toml"]
    assert loaded.files == ("d.toml", "b.toml", "c.toml", "a.toml")
    assert (loaded.id, loaded.title) == ("a", "t")


def test_a_file_is_looked_for_beside_the_one_that_includes_it(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("rooms/bath.toml",))
    write(tmp_path, "rooms/bath.toml", include=("wet.toml",))
    write(tmp_path, "rooms/wet.toml", rules=("wet",))

    assert policy(tmp_path).files == ("rooms/wet.toml", "rooms/bath.toml", "a.toml")


def test_a_shipped_policy_is_included_by_its_id(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("isolated-house",), rules=("of-a",))

    loaded = policy(tmp_path)

    assert loaded.rules[:-1] == load_policy("isolated-house", tmp_path).rules
    assert loaded.rules[-1].id == "of-a"


def test_a_circle_is_told_once_with_the_way_round(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml",), rules=("of-a",))
    write(tmp_path, "b.toml", include=("c.toml",), rules=("of-b",))
    write(tmp_path, "c.toml", include=("b.toml",), rules=("of-c",))

    assert faults(tmp_path) == [
        "c.toml, line 3: include 1: found a circle: b.toml includes c.toml includes b.toml, expected a policy that "
        "leads back to no other."
    ]


def test_a_file_that_is_no_toml_hides_no_rule_of_its_includer_and_calls_no_override_unknown(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml",), text=OVERRIDE.format(rule="any", fix="f"))
    (tmp_path / "b.toml").write_text("= nothing", encoding="utf-8")

    assert faults(tmp_path) == [
        "b.toml, line 1: found what is not TOML (invalid statement), expected valid TOML.",
    ]


def test_so_many_files_and_no_more_make_one_policy(tmp_path: Path) -> None:
    for number in range(MAX_POLICY_FILES + 3):
        write(tmp_path, f"p{number}.toml", include=(f"p{number + 1}.toml",), rules=(f"r{number}",))

    parts = read_policy_parts(tmp_path / "p0.toml", tmp_path)

    assert len(parts) == MAX_POLICY_FILES
    found = [str(fault) for part in parts for fault in part.file.faults]
    assert found == [
        "p31.toml, line 3: include 1: found one more file, expected at most 32 files that make one policy."
    ]


def test_a_name_that_no_file_system_takes_is_a_fault_and_no_crash(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("p" * 300 + ".toml",))

    assert len(faults(tmp_path)) == 1


def test_a_folder_is_no_policy(tmp_path: Path) -> None:
    (tmp_path / "b.toml").mkdir()
    write(tmp_path, "a.toml", include=("b.toml",))

    assert len(faults(tmp_path)) == 1


def test_one_rule_id_in_two_files_names_both_places(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml", "c.toml"))
    write(tmp_path, "b.toml", rules=("same",))
    write(tmp_path, "c.toml", rules=("other", "same"))

    assert faults(tmp_path) == [
        "c.toml, line 14: rule 2 'same', id: found text \"same\" again (first in b.toml, line 6), expected an id that "
        "no other rule has."
    ]


def test_an_outer_override_goes_over_an_inner_one(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml",), text=OVERRIDE.format(rule="deep", fix="outer"))
    write(tmp_path, "b.toml", include=("c.toml",), text=OVERRIDE.format(rule="deep", fix="inner"))
    write(tmp_path, "c.toml", rules=("deep",))

    loaded = policy(tmp_path)

    assert [rule.fix for rule in loaded.rules] == ["outer"]
    assert [(one.file, one.fields) for one in loaded.overridden] == [("b.toml", ("fix",)), ("a.toml", ("fix",))]


def test_two_files_that_do_not_know_each_other_may_not_override_the_same_rule(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml", "c.toml"))
    write(tmp_path, "b.toml", include=("d.toml",), text=OVERRIDE.format(rule="deep", fix="left"))
    write(tmp_path, "c.toml", include=("d.toml",), text=OVERRIDE.format(rule="deep", fix="right"))
    write(tmp_path, "d.toml", rules=("deep",))

    assert faults(tmp_path) == [
        'c.toml, line 6: override 1, rule: found text "deep" overridden again (first in b.toml, line 6), expected one '
        "override of a rule, or one file that includes the other."
    ]


def test_a_rule_that_was_dropped_cannot_be_changed_further_out(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml",), text=OVERRIDE.format(rule="deep", fix="outer"))
    drop = '\n[[override]]\nrule = "deep"\ndrop = true\nreason = "no"\n'
    write(tmp_path, "b.toml", include=("c.toml",), text=drop)
    write(tmp_path, "c.toml", rules=("deep",))

    assert faults(tmp_path) == [
        'a.toml, line 6: override 1, rule: found text "deep", which b.toml has dropped, expected the id of a rule in '
        "an included file."
    ]


def test_a_file_overrides_only_what_it_includes_itself(tmp_path: Path) -> None:
    write(tmp_path, "a.toml", include=("b.toml", "c.toml"))
    write(tmp_path, "b.toml", rules=("beside",))
    write(tmp_path, "c.toml", rules=("of-c",), text=OVERRIDE.format(rule="beside", fix="f"))

    assert faults(tmp_path) == [
        'c.toml, line 14: override 1, rule: found text "beside", expected the id of a rule in an included file.'
    ]
