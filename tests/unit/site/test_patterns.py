"""Regular expressions of policies, quick and never-ending ones."""

import re
import time

import pytest

from pattress.site.patterns import MAX_LINE_PATTERN_LENGTH, line_pattern_fault, pattern_fault

QUICK = [
    "mill-[a-z]+",
    r"\d+\.\d+\.\d+",
    r"(?:foo|bar|baz)",
    r"(?i:mill)-(?P<wing>east|west)?",
    r"(?:[a-z]+-)*+[a-z]+",
    r"(?>a+|b)+x",
    r"(ab){3}",
    r"(a|b){1}",
    r"[()*+?{}|]+[]a]*",
    r"\(a*\)\*+",
    r"a{2,4}b{,3}",
    r"(?#a+)(?=x)(?!y)(?<=z)?w",
    r"{not a count}",
    "",
]
ENDLESS = [
    r"(a+)+x",
    r"(a*)*x",
    r"([a-z]+)*x",
    r"(a|aa)+x",
    r"(a|a)*x",
    r"(a?){50}a{50}",
    r"(?:(?:a+)b?)+x",
    r"((a+))+x",
    r"(a{1,9}){1,50}x",
    r"(?P<n>a+){2,}x",
    r"(?:a+?)+?x",
    "a?" * 14 + "a" * 14,
    "a*" * 20 + "x",
    "(?:a|a)" * 14,
]


@pytest.mark.parametrize("pattern", QUICK)
def test_a_quick_pattern_may_be_used(pattern: str) -> None:
    assert pattern_fault(pattern) is None


@pytest.mark.parametrize("pattern", ENDLESS)
def test_a_pattern_that_can_take_for_ever_may_not(pattern: str) -> None:
    fault = pattern_fault(pattern)

    assert fault is not None
    assert "take for ever" in fault


def test_the_worst_pattern_that_may_be_used_ends_on_the_longest_text() -> None:
    worst = "a*a*a*x"
    started_at = time.process_time()

    found = re.fullmatch(worst, "a" * 512)

    assert pattern_fault(worst) is None
    assert pattern_fault("a*" + worst) is not None
    assert found is None
    assert time.process_time() - started_at < 20  # about 0.1 s; one repetition more would take minutes


@pytest.mark.parametrize(
    ("pattern", "fault"),
    [
        ("a" * 201, "it has more than 200 characters"),
        ("[a", "unterminated character set at position 0"),
        ("a**", "multiple repeat at position 2"),
        ("[[a]]", "Possible nested set at position 1"),
    ],
)
def test_what_is_no_pattern_is_refused_with_the_reason(pattern: str, fault: str) -> None:
    assert pattern_fault(pattern) == fault


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<asker>(?:\d{1,3}\.){3}\d{1,3})",
        r"\S+ \S+ client (?P<asker>[^#\s]+)#\d+ \((?P<name>[^)]+)\): query: \S+ IN (?P<type>\S+) \S+",
        "a" * MAX_LINE_PATTERN_LENGTH,
    ],
)
def test_a_line_of_a_log_may_have_many_parts(pattern: str) -> None:
    assert line_pattern_fault(pattern) is None


@pytest.mark.parametrize("pattern", [r"(a+)+x", r"(?:\S+ )*x", r"(a{1,9}){1,50}x", r"(a|aa)+x", r"(a+){10}x"])
def test_a_repetition_around_another_may_not_stand_in_a_pattern_for_lines(pattern: str) -> None:
    assert "take for ever" in (line_pattern_fault(pattern) or "")


def test_a_pattern_for_lines_is_bounded() -> None:
    assert line_pattern_fault("a" * (MAX_LINE_PATTERN_LENGTH + 1)) == "it has more than 500 characters"
