"""The depth limit of JSON documents sees brackets, and only those outside of strings."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.wire.decode import MAX_DEPTH, UndecodableError, decode_json

TEXTS = st.text(st.sampled_from('[]{}"\\a\u00e9'), max_size=40)


@given(st.integers(1, MAX_DEPTH), st.lists(TEXTS, min_size=1), st.booleans())
def test_no_text_makes_a_document_deeper_or_shallower(depth: int, texts: list[str], as_objects: bool) -> None:
    allowed = _wrapped(texts, depth - 1, as_objects=as_objects)
    too_deep = _wrapped(texts, MAX_DEPTH, as_objects=as_objects)

    found = decode_json(json.dumps(allowed, ensure_ascii=False).encode())

    assert found == allowed
    with pytest.raises(UndecodableError, match=f"nested deeper than {MAX_DEPTH}"):
        decode_json(json.dumps(too_deep, ensure_ascii=False).encode())


@pytest.mark.parametrize(
    "start",
    ['"', '"\\', '"\\"', '"]', '"\\\\"', "\\", '\\"', "", "\ufeff"],
    ids=["open string", "escape at the end", "escaped quote", "bracket in a string", "escaped backslash",
         "stray backslash", "stray escape", "nothing", "byte order mark"],
)  # fmt: skip
@pytest.mark.parametrize("depth", [100_000, 250_000])
def test_a_tower_of_brackets_is_refused_whatever_stands_before_it(start: str, depth: int) -> None:
    document = (start + "[" * depth).encode()

    with pytest.raises(UndecodableError):
        decode_json(document)


def _wrapped(texts: list[str], times: int, *, as_objects: bool) -> object:
    """The texts in one list, that list in so many more containers."""
    content: object = texts
    for text in (texts * (times // len(texts) + 1))[:times]:
        content = {text: content} if as_objects else [text, content]
    return content
