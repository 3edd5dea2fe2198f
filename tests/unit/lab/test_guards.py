import base64

import pytest

from pattress.lab.guards import Guard, guard_of

SECRET = "a quiet word"


def guard(kind: str) -> Guard:
    return guard_of(kind, SECRET, header="X-Word", realm="one")


def basic(user: str, secret: str) -> str:
    return "Basic " + base64.b64encode(f"{user}:{secret}".encode()).decode()


@pytest.mark.parametrize(
    ("kind", "headers"),
    [
        ("basic", {"Authorization": basic("house", SECRET)}),
        ("bearer", {"Authorization": f"Bearer {SECRET}"}),
        ("header", {"X-Word": SECRET}),
    ],
)
def test_the_right_secret_is_let_in(kind: str, headers: dict[str, str]) -> None:
    refusal = guard(kind).refusal(headers, method="GET", target="/")

    assert refusal is None


@pytest.mark.parametrize("kind", ["basic", "bearer", "header", "digest-sha-256", "digest-md5"])
@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Authorization": basic("house", "wrong")},
        {"Authorization": basic("somebody", SECRET)},
        {"Authorization": "Bearer wrong"},
        {"Authorization": SECRET},
        {"X-Word": "wrong"},
        {"X-Word": ""},
    ],
)
def test_anything_else_is_refused(kind: str, headers: dict[str, str]) -> None:
    refusal = guard(kind).refusal(headers, method="GET", target="/")

    assert refusal is not None


@pytest.mark.parametrize(
    ("kind", "scheme"),
    [("basic", "Basic"), ("bearer", "Bearer"), ("digest-sha-256", "Digest"), ("digest-md5", "Digest")],
)
def test_a_refusal_names_its_scheme(kind: str, scheme: str) -> None:
    refusal = guard(kind).refusal({}, method="GET", target="/")

    assert refusal is not None
    assert refusal["WWW-Authenticate"].split(" ")[0] == scheme


def test_a_guard_does_not_show_its_secret() -> None:
    shown = repr(guard("bearer"))

    assert SECRET not in shown
