"""JMESPath on what a stranger sent."""

import jmespath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.wire.search import SearchError, search

NAMES = st.sampled_from(["a", "b", "far-service"])
DOCUMENTS = st.recursive(
    st.none() | st.booleans() | st.integers(-2, 2) | st.text("ab", max_size=2),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=12,
)
STEPS = st.one_of(
    NAMES.map(lambda name: f'."{name}"'),
    st.integers(-4, 4).map(lambda index: f"[{index}]"),
    st.sampled_from(["[*]", "[]", ".*", "[0:1]", " | @", " || b"]),
)
EXPRESSIONS = st.lists(STEPS, min_size=1, max_size=5).map(lambda steps: "@" + "".join(steps))


@given(EXPRESSIONS, DOCUMENTS)
def test_every_expression_finds_what_the_library_finds(expression: str, document: object) -> None:
    expected = jmespath.search(expression, document)

    found = search(expression, document)

    assert (type(found), found) == (type(expected), expected)


@pytest.mark.parametrize("expression", ["a", "a.b", "a[0].b", '"far-service".a', "[1].a", "a[0][-1]", "@", "@.a"])
@given(document=DOCUMENTS)
def test_expressions_as_profiles_write_them_find_what_the_library_finds(expression: str, document: object) -> None:
    expected = jmespath.search(expression, document)

    found = search(expression, document)

    assert (type(found), found) == (type(expected), expected)


def test_an_expression_that_cannot_be_applied_is_one_error_with_the_reason() -> None:
    content = {"a": 5}

    with pytest.raises(SearchError) as refusal:
        search("length(a)", content)

    assert str(refusal.value).startswith("length(a) cannot be applied to what is there: ")
