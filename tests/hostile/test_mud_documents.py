"""MUD files that mean harm: whatever stands in one, the answer is faults in words or allowances, and it is bounded."""

import json
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pattress.egress.allowances import Allowances
from pattress.egress.mud import mud_profile
from pattress.model.watching import MudFile

_EXAMPLE = json.loads((Path(__file__).parents[2] / "fixtures/mud/lightbulb2000.json").read_text(encoding="utf-8"))
_WORDS = [
    *(
        "ietf-mud:mud",
        "ietf-access-control-list:acls",
        "acl",
        "aces",
        "ace",
        "matches",
        "actions",
        "forwarding",
        "name",
    ),
    *("ipv4", "ipv6", "tcp", "udp", "icmp", "protocol", "source-port", "destination-port", "operator", "port"),
    *("ietf-acldns:dst-dnsname", "ietf-acldns:src-dnsname", "destination-ipv6-network", "lower-port", "upper-port"),
    *("accept", "drop", "eq", "range", "mud-76100-v6to", "2001:db8::/32", "to-device", "__class__", "model_extra"),
]
_texts = st.sampled_from(_WORDS) | st.text(max_size=80)
_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.sampled_from([10**400, -1, 443]) | st.floats() | _texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_texts, inner, max_size=4),
    max_leaves=12,
)


def _places(part: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    steps = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    return [path, *(place for step, inner in steps for place in _places(inner, (*path, step)))]


def _changed(part: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    copy = dict(part) if isinstance(part, dict) else list(part)
    copy[path[0]] = _changed(part[path[0]], path[1:], value)
    return copy


_mutated = st.lists(st.tuples(st.sampled_from(_places(_EXAMPLE)[1:]), _values), min_size=1, max_size=3)


@settings(max_examples=400)
@given(_mutated)
def test_a_document_that_was_changed_anywhere_comes_to_something(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    document = _EXAMPLE
    for path, value in changes:
        try:
            document = _changed(document, path, value)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took the place away

    _is_answered(document)


@given(st.dictionaries(_texts, _values, max_size=6))
def test_any_object_comes_to_something(document: dict[str, Any]) -> None:
    _is_answered(document)


def test_depth_is_no_way_to_harm() -> None:
    deep: Any = []
    for _ in range(100_000):
        deep = [deep]

    for path in _places(_EXAMPLE)[1:]:
        _is_answered(_changed(_EXAMPLE, path, deep))
        _is_answered(_changed(_EXAMPLE, path, {"deep": deep}))


def test_many_faults_are_told_by_the_first_hundred() -> None:
    entries = [{"name": "", "matches": {"ipv4": {"protocol": -1}}, "actions": {}}] * 512
    lists = {"acl": [{"name": "l", "aces": {"ace": entries}}]}

    profile = mud_profile(MudFile(file="f", document={**_EXAMPLE, "ietf-access-control-list:acls": lists}))

    assert len(profile.faults) == 100


def _is_answered(document: Any) -> None:
    file = MudFile(file="f", document=document, kind="k")
    profile = mud_profile(file)

    assert not (profile.allowances and profile.faults)
    lines = [*map(str, profile.faults), *profile.remarks, *(rule.reason for rule in profile.allowances)]
    assert all(line.isprintable() and len(line) < 2000 for line in lines)
    assert len(lines) <= 2000
    assert Allowances([], [file]).faults == profile.faults
