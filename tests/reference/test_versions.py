"""Firmware versions against the order that Semantic Versioning 2.0.0 prints in its section 11."""

import itertools

import pytest

from pattress.policy.versions import version_key

SECTION_11 = [
    "1.0.0-alpha",
    "1.0.0-alpha.1",
    "1.0.0-alpha.beta",
    "1.0.0-beta",
    "1.0.0-beta.2",
    "1.0.0-beta.11",
    "1.0.0-rc.1",
    "1.0.0",
]
SECTION_11_NUMBERS = ["1.0.0", "2.0.0", "2.1.0", "2.1.1"]


@pytest.mark.parametrize("versions", [SECTION_11, SECTION_11_NUMBERS])
def test_versions_are_in_the_order_of_the_specification(versions: list[str]) -> None:
    keys = [version_key(version) for version in versions]

    assert all(key is not None for key in keys)
    assert all(earlier < later for earlier, later in itertools.pairwise(keys))  # type: ignore[operator]


@pytest.mark.parametrize(
    ("one", "other"), [("1.0.0+20130313144700", "1.0.0"), ("v2.3", "2.3.0"), ("2.3", "2.3.0.0"), ("1.10", "1.10.0")]
)
def test_versions_that_differ_in_writing_only_are_equal(one: str, other: str) -> None:
    """Build metadata: section 10. The leading v and missing zeros are common practice of module makers."""
    assert version_key(one) == version_key(other)


@pytest.mark.parametrize("text", ["", "latest", "1.", ".1", "1..2", "1.0.0-", "20260101-1234/gabc", "1" * 12])
def test_what_cannot_be_ordered_has_no_key(text: str) -> None:
    assert version_key(text) is None
