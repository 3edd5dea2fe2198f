"""HTTP Digest authentication against the worked examples of its RFCs, and Basic beside it."""

import re

import pytest

from pattress.reading.digest import authorization, challenges, strongest

RFC_7616_NONCE = "7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v"
RFC_7616_HEADERS = [
    'Digest realm="http-auth@example.org", qop="auth, auth-int", algorithm=SHA-256, '
    f'nonce="{RFC_7616_NONCE}", opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"',
    'Digest realm="http-auth@example.org", qop="auth, auth-int", algorithm=MD5, '
    f'nonce="{RFC_7616_NONCE}", opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"',
]
RFC_7616_ANSWERS = {
    "SHA-256": "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1",
    "MD5": "8ca523f5e9506fed4657c9700eebdbec",
}


@pytest.mark.parametrize("algorithm", RFC_7616_ANSWERS)
def test_the_response_is_that_of_rfc_7616(algorithm: str) -> None:
    """RFC 7616 section 3.9.1: user Mufasa, password "Circle of Life"."""
    challenge = next(one for one in challenges(RFC_7616_HEADERS) if one.parameters["algorithm"] == algorithm)

    header = authorization(
        challenge,
        method="GET",
        uri="/dir/index.html",
        user="Mufasa",
        password="Circle of Life",
        client_nonce="f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ",
    )

    assert f'response="{RFC_7616_ANSWERS[algorithm]}"' in header
    assert f"algorithm={algorithm}" in header
    assert "qop=auth, nc=00000001" in header
    assert 'opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"' in header


def test_the_response_is_that_of_rfc_2617() -> None:
    """RFC 2617 section 3.5: user Mufasa, password "Circle Of Life", MD5 by default."""
    [challenge] = challenges(
        [
            'Digest realm="testrealm@host.com", qop="auth,auth-int", '
            'nonce="dcd98b7102dd2f0e8b11d0f600bfb0c093", opaque="5ccc069c403ebaf9f0171e9517f40e41"'
        ]
    )

    header = authorization(
        challenge,
        method="GET",
        uri="/dir/index.html",
        user="Mufasa",
        password="Circle Of Life",
        client_nonce="0a4f113b",
    )

    assert 'response="6629fae49393a05397450978507c4ef1"' in header


def test_the_stronger_of_two_challenges_is_answered_whatever_the_order() -> None:
    """RFC 7616 section 3.7: the client should use the strongest that it supports."""
    first = strongest(challenges(RFC_7616_HEADERS))
    second = strongest(challenges(reversed(RFC_7616_HEADERS)))

    assert first is not None
    assert second is not None
    assert first.parameters["algorithm"] == second.parameters["algorithm"] == "SHA-256"


def test_a_digest_challenge_behind_a_basic_one_in_one_header_is_found() -> None:
    """RFC 9110 section 11.6.1: one field may hold several challenges, separated by commas."""
    header = (
        'Newauth realm="apps", type=1, title="Login to \\"apps\\"", Basic realm="simple", Digest realm="d", nonce="n"'
    )

    found = challenges([header])

    assert [one.scheme for one in found] == ["newauth", "basic", "digest"]
    assert found[0].parameters == {"realm": "apps", "type": "1", "title": 'Login to "apps"'}
    assert found[1].parameters == {"realm": "simple"}
    assert strongest(found) is found[2]


@pytest.mark.parametrize(
    "header",
    [
        'Digest realm="r", nonce="n", algorithm=SHA-512-256',
        'Digest realm="r", nonce="n", algorithm=MD5-sess',
        'Digest realm="r", nonce="n", qop="auth-int"',
        'Digest realm="r"',
        'Basic realm="r"',
        "",
        "=,=,Digest",
    ],
)
def test_what_cannot_be_answered_is_not_chosen(header: str) -> None:
    assert strongest(challenges([header])) is None


def test_a_quote_in_the_user_name_cannot_end_the_field() -> None:
    """RFC 9110 section 5.6.4: quoted-pair."""
    [challenge] = challenges(['Digest realm="r", nonce="n"'])

    header = authorization(challenge, method="GET", uri="/", user='a", uri="/other', password="p", client_nonce="c")

    assert re.findall(r'(?<!\\)uri="([^"]*)"', header)[-1:] == ["/"]
    assert header.startswith('Digest username="a\\", uri=\\"/other", ')
