"""Who may ask a module of the emulated house: Basic, Digest, a bearer token, or a key in a header of the maker's own.

Sources: RFC 7617 section 2, RFC 6750 section 2.1, RFC 7616 (in `digest`).
"""

import base64
import hmac
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import assert_never

from pattress.lab.digest import DigestCheck
from pattress.lab.maker import USER, GuardKind


@dataclass(slots=True)
class Guard:
    """The guard of one module."""

    kind: GuardKind
    secret: str = field(repr=False)
    header: str
    digest: DigestCheck | None = None

    def refusal(self, headers: Mapping[str, str], *, method: str, target: str) -> Mapping[str, str] | None:
        """Return the headers of a 401 answer, or None where the question may be answered."""
        authorization = headers.get("Authorization", "")
        match self.kind:
            case "digest-sha-256" | "digest-md5":
                assert self.digest is not None  # noqa: S101 - `guard_of` makes it
                challenge = self.digest.refusal(authorization, method=method, target=target)
                return None if challenge is None else {"WWW-Authenticate": challenge}
            case "basic":
                pair = base64.b64encode(f"{USER}:{self.secret}".encode()).decode()
                return _compared(authorization, f"Basic {pair}", {"WWW-Authenticate": 'Basic realm="module"'})
            case "bearer":
                return _compared(authorization, f"Bearer {self.secret}", {"WWW-Authenticate": 'Bearer realm="module"'})
            case "header":
                return _compared(headers.get(self.header, ""), self.secret, {})
            case _:
                assert_never(self.kind)


def guard_of(kind: GuardKind, secret: str, *, header: str, realm: str) -> Guard:
    """Return the guard of one module, with no challenge given yet."""
    match kind:
        case "digest-sha-256":
            check = DigestCheck(realm=realm, user=USER, secret=secret, algorithm="SHA-256")
        case "digest-md5":
            check = DigestCheck(realm=realm, user=USER, secret=secret, algorithm="MD5")
        case _:
            return Guard(kind, secret, header)
    return Guard(kind, secret, header, check)


def _compared(given: str, wanted: str, refusal: Mapping[str, str]) -> Mapping[str, str] | None:
    return None if hmac.compare_digest(given.encode(), wanted.encode()) else refusal
