"""HTTP Digest access authentication, the server's side, as small as a module behind a wall plate has it.

What belongs here: challenges and their check, with `qop=auth` and plain user names. What does not: other schemes.

Source: RFC 7616 sections 3.3, 3.4 and 3.4.6.
"""

import hashlib
import hmac
import re
import secrets
from collections.abc import Mapping
from typing import Literal

Algorithm = Literal["SHA-256", "MD5"]

MAX_NONCES = 64  # one for each client that talks to a module at once; 64 are far more, and the oldest goes


class DigestCheck:
    """The challenges that one module has given, and how often each was used."""

    def __init__(self, *, realm: str, user: str, secret: str, algorithm: Algorithm) -> None:
        self._realm = realm
        self._user = user
        self._secret = secret
        self._algorithm = algorithm
        self._counts: dict[str, int] = {}

    def challenge(self, *, is_stale: bool = False) -> str:
        """Return a `WWW-Authenticate` value with a nonce that was never given before."""
        nonce = secrets.token_urlsafe(24)
        if len(self._counts) >= MAX_NONCES:
            del self._counts[next(iter(self._counts))]
        self._counts[nonce] = 0
        stale = ", stale=true" if is_stale else ""
        return f'Digest realm="{self._realm}", qop="auth", algorithm={self._algorithm}, nonce="{nonce}"{stale}'

    def refusal(self, authorization: str | None, *, method: str, target: str) -> str | None:
        """Return the challenge to answer with, or None where the `Authorization` value proves the secret.

        A nonce that is not known, or whose count does not grow, is stale: nobody replays what somebody else sent.
        """
        given = parsed_credentials(authorization or "")
        wanted = {"username": self._user, "realm": self._realm, "uri": target, "qop": "auth"}
        if any(given.get(name) != value for name, value in wanted.items()):
            return self.challenge()
        if given.get("algorithm", self._algorithm) != self._algorithm or not _COUNT.fullmatch(given.get("nc", "")):
            return self.challenge()
        if not hmac.compare_digest(given.get("response", ""), self._response(given, method)):
            return self.challenge()
        nonce, count = given.get("nonce", ""), int(given["nc"], 16)
        if count <= self._counts.get(nonce, 0xFFFFFFFF):
            return self.challenge(is_stale=True)
        self._counts[nonce] = count
        return None

    def _response(self, given: Mapping[str, str], method: str) -> str:
        return digest_response(
            algorithm=self._algorithm,
            user=self._user,
            realm=self._realm,
            secret=self._secret,
            method=method,
            target=given["uri"],
            nonce=given.get("nonce", ""),
            count=given["nc"],
            client_nonce=given.get("cnonce", ""),
        )


def digest_response(
    *,
    algorithm: Algorithm,
    user: str,
    realm: str,
    secret: str,
    method: str,
    target: str,
    nonce: str,
    count: str,
    client_nonce: str,
) -> str:
    """Return the `response` value with `qop=auth` (RFC 7616 sections 3.4.1 to 3.4.3)."""
    whose = _hashed(algorithm, f"{user}:{realm}:{secret}")
    what = _hashed(algorithm, f"{method}:{target}")
    return _hashed(algorithm, f"{whose}:{nonce}:{count}:{client_nonce}:auth:{what}")


def parsed_credentials(authorization: str) -> Mapping[str, str]:
    """Return the parameters of a Digest `Authorization` value; none where it is of another scheme."""
    scheme, _, rest = authorization.partition(" ")
    if scheme.lower() != "digest":
        return {}
    return {
        found["name"].lower(): found["token"] if found["token"] is not None else re.sub(r"\\(.)", r"\1", found["text"])
        for found in _PARAMETER.finditer(rest)
    }


def _hashed(algorithm: Algorithm, text: str) -> str:
    if algorithm == "MD5":
        return hashlib.md5(text.encode(), usedforsecurity=False).hexdigest()
    return hashlib.sha256(text.encode()).hexdigest()


_COUNT = re.compile(r"[0-9a-f]{8}")
_PARAMETER = re.compile(r'(?P<name>[A-Za-z]+)=(?:"(?P<text>(?:[^"\\]|\\.)*)"|(?P<token>[^\s,"]+))')
