import pytest

from pattress.lab.digest import MAX_NONCES, DigestCheck, digest_response, parsed_credentials

TARGET = "/ways"


def check(algorithm: str = "SHA-256") -> DigestCheck:
    return DigestCheck(realm="BV-1", user="house", secret="Circle of Life", algorithm=algorithm)


def nonce_in(challenge: str) -> str:
    return parsed_credentials(challenge)["nonce"]


def authorization(
    challenge: str, *, secret: str = "Circle of Life", count: str = "00000001", target: str = TARGET
) -> str:
    given = parsed_credentials(challenge)
    response = digest_response(
        algorithm=given["algorithm"],
        user="house",
        realm=given["realm"],
        secret=secret,
        method="GET",
        target=target,
        nonce=given["nonce"],
        count=count,
        client_nonce="0a4f113b",
    )
    return (
        f'Digest username="house", realm="{given["realm"]}", nonce="{given["nonce"]}", uri="{target}", qop=auth, '
        f'nc={count}, cnonce="0a4f113b", algorithm={given["algorithm"]}, response="{response}"'
    )


@pytest.mark.parametrize(
    ("algorithm", "expected"),
    [
        ("MD5", "8ca523f5e9506fed4657c9700eebdbec"),
        ("SHA-256", "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"),
    ],
)
def test_the_response_is_that_of_the_standards_example(algorithm: str, expected: str) -> None:
    response = digest_response(
        algorithm=algorithm,
        user="Mufasa",
        realm="http-auth@example.org",
        secret="Circle of Life",
        method="GET",
        target="/dir/index.html",
        nonce="7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v",
        count="00000001",
        client_nonce="f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ",
    )

    assert response == expected, "RFC 7616 section 3.9.1"


@pytest.mark.parametrize("algorithm", ["SHA-256", "MD5"])
def test_a_proof_of_the_secret_is_let_in(algorithm: str) -> None:
    door = check(algorithm)
    challenge = door.challenge()

    refusal = door.refusal(authorization(challenge), method="GET", target=TARGET)

    assert refusal is None


@pytest.mark.parametrize(
    "given",
    [
        None,
        "",
        "Basic aG91c2U6Q2lyY2xlIG9mIExpZmU=",
        "Digest",
        'Digest username="house"',
    ],
)
def test_what_is_no_proof_is_challenged(given: str | None) -> None:
    refusal = check().refusal(given, method="GET", target=TARGET)

    assert refusal is not None
    assert refusal.startswith('Digest realm="BV-1", qop="auth", algorithm=SHA-256, nonce="')


def test_a_wrong_secret_another_target_and_another_method_are_refused() -> None:
    door = check()
    challenge = door.challenge()

    refusals = [
        door.refusal(authorization(challenge, secret="circle of life"), method="GET", target=TARGET),
        door.refusal(authorization(challenge), method="GET", target="/ties"),
        door.refusal(authorization(challenge), method="POST", target=TARGET),
    ]

    assert all(refusal is not None and "stale" not in refusal for refusal in refusals)


def test_the_same_proof_is_not_taken_twice() -> None:
    door = check()
    proof = authorization(door.challenge())

    first = door.refusal(proof, method="GET", target=TARGET)
    second = door.refusal(proof, method="GET", target=TARGET)

    assert first is None
    assert second is not None
    assert "stale=true" in second


def test_a_nonce_can_be_used_again_with_a_higher_count() -> None:
    door = check()
    challenge = door.challenge()

    refusals = [
        door.refusal(authorization(challenge, count=count), method="GET", target=TARGET)
        for count in ("00000001", "00000002", "0000000a")
    ]

    assert refusals == [None, None, None]


def test_the_oldest_nonce_is_forgotten_so_that_challenges_cost_no_memory() -> None:
    door = check()
    first = door.challenge()

    challenges = [door.challenge() for _ in range(MAX_NONCES)]

    refusal = door.refusal(authorization(first), method="GET", target=TARGET)
    assert refusal is not None
    assert "stale=true" in refusal
    assert len({nonce_in(challenge) for challenge in challenges}) == MAX_NONCES
