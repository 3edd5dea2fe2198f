"""The form of an answer."""

import pytest

from pattress.circuit.working import Answer, joined, percent, shown, step, worst


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        (["fits", "unfit", "undecided"], "unfit"),
        (["fits", "undecided", "figure"], "undecided"),
        (["figure", "fits"], "fits"),
        (["figure"], "figure"),
        ([], "figure"),
    ],
)
def test_what_is_worst_counts_and_not_knowing_is_worse_than_fitting(verdicts: list[str], expected: str) -> None:
    assert worst(verdicts) == expected  # type: ignore[arg-type]


def test_answers_are_joined_with_each_line_and_caution_once() -> None:
    line = step("power", "P", "5 W", 5, "W", "derived")
    one = Answer(question="a", verdict="fits", sentence="Good.", values={"a": 1}, lines=(line,), cautions=("Mind.",))
    two = Answer(question="b", verdict="unfit", sentence="Bad.", values={"b": 2}, lines=(line,), cautions=("Mind.",))

    whole = joined("both", [one, two])

    assert (whole.verdict, whole.sentence, dict(whole.values)) == ("unfit", "Bad.", {"a": 1, "b": 2})
    assert whole.lines == (line,)
    assert whole.cautions == ("Mind.",)


def test_the_last_word_is_not_ours_in_any_answer() -> None:
    answer = Answer(question="a", verdict="fits", sentence="Good.")

    assert "licensed electrician" in answer.last_word
    assert "last word" in answer.last_word


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (15.217391, "15.22"),
        (3500.0, "3500"),
        (1234567.0, "1234567"),
        (0.026, "0.026"),
        (999.96, "1000"),
        (-6.0, "-6"),
        (1e-9, "1.000e-09"),
        (1e15, "1.000e+15"),
    ],
)
def test_a_number_is_shown_with_four_digits_that_mean_something(value: float, text: str) -> None:
    assert shown(value) == text


def test_a_share_is_shown_in_percent() -> None:
    assert [percent(0.03), percent(0.0325), percent(1.25), percent(0)] == ["3 %", "3.25 %", "125 %", "0 %"]
