"""What a test does where the program that it talks to is missing."""

import pytest

from peers.requirements import require_peer


def test_a_missing_program_skips_the_test_and_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)

    with pytest.raises(pytest.skip.Exception, match="no-such-program is not installed"):
        require_peer("no-such-program")


def test_a_missing_program_fails_the_test_where_ci_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")

    with pytest.raises(pytest.fail.Exception, match="no-such-program is not installed"):
        require_peer("no-such-program")


def test_a_program_that_is_there_is_found() -> None:
    assert require_peer("sh").endswith("/sh")
