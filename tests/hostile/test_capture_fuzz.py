"""No file that is said to be a capture makes its readers do worse than raise the one error."""

from hostile.fuzz_captures import run


def test_thousands_of_random_and_mutated_captures_are_read_or_refused() -> None:
    outcome = run(3_000, seed=5722)

    assert outcome.inputs == 3_000
    assert outcome.datagrams > 3_000
    assert outcome.errors > 300
    assert outcome.lost > 300
